"""Results as they stand now, as expressions of one query: newest amendment in force, standing and mark."""

from collections.abc import Callable
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, and_, case, func, or_, select

from storage.csv_text.largest import largest
from storage.queries.tied_results import BY_PEOPLE, MADE_FROM_READING, newest_sample, tied_by_people
from storage.schema import (
    amendment_item,
    amendment_state,
    record,
    record_link,
    release,
    result,
    result_input,
    standing,
    tie,
)

_states = (
    select(amendment_state.c.amendment_id, func.max(amendment_state.c.number).label("last"))
    .group_by(amendment_state.c.amendment_id)
    .subquery("states")
)
_in_force = (
    select(amendment_item)
    .join(_states, _states.c.amendment_id == amendment_item.c.amendment_id)
    .join(
        amendment_state,
        and_(amendment_state.c.number == _states.c.last, amendment_state.c.state == "in_force"),
    )
    .subquery("in_force")
)
_newer = _in_force.alias("newer")
amended: Final = (
    select(_in_force)
    .where(
        ~select(_newer.c.version)
        .where(_newer.c.result_id == _in_force.c.result_id, _newer.c.version > _in_force.c.version)
        .exists()
    )
    .subquery("current_item")
)
"""The newest value in force of each result that has one, to be joined from outside."""

_is_amended: Final = amended.c.version.is_not(None)
sample_id: Final = case(
    (tied_by_people(result).exists(), newest_sample(result)),
    else_=func.coalesce(amended.c.sample_id, result.c.sample_id),
)
"""Whose a result is now: people may have tied its reading anew."""
version: Final = func.coalesce(amended.c.version, 1)
outcome: Final = case((_is_amended, amended.c.outcome), else_=result.c.outcome)
_numeral: Final = case((_is_amended, amended.c.value_numeral), else_=result.c.value_numeral)
numeral: Final = case((outcome == "value", _numeral), else_=None)
"""NULL where there is no number."""


def newest(column: Any, of: Any) -> ColumnElement[Any]:
    """Return a column of the newest row that a table has for a result."""
    return (
        select(column)
        .where(of.c.result_id == result.c.number)
        .order_by(of.c.number.desc())
        .limit(1)
        .scalar_subquery()
    )


mark: Final = newest(release.c.mark, release)
standing_word: Final = newest(standing.c.standing, standing)
reasons: Final = newest(standing.c.reasons, standing)
_last_amended: Final = (
    select(func.max(amendment_state.c.number))
    .join(amendment_item, amendment_item.c.amendment_id == amendment_state.c.amendment_id)
    .where(amendment_item.c.result_id == result.c.number)
    .correlate(result)
    .scalar_subquery()
)
_last_tied: Final = (
    select(func.max(tie.c.number))
    .join(result_input, result_input.c.source_id == tie.c.reading_id)
    .where(result_input.c.result_id == result.c.number, MADE_FROM_READING, tie.c.how.in_(BY_PEOPLE))
    .correlate(result)
    .scalar_subquery()
)
revision: Final = largest(
    result.c.number,
    func.coalesce(newest(standing.c.number, standing), 0),
    func.coalesce(newest(release.c.number, release), 0),
    func.coalesce(_last_amended, 0),
    func.coalesce(_last_tied, 0),
)
"""The newest ledger entry that touched a result."""


def code_of(record_id: Any) -> ColumnElement[Any]:
    """Return the code of a record by its id."""
    named = record.alias()
    return (
        select(named.c.code)
        .where(named.c.record_id == record_id, named.c.version == 1)
        .limit(1)
        .correlate(result, amended)
        .scalar_subquery()
    )


def lot_id() -> ColumnElement[Any]:
    """Return the id of the lot of a result's sample."""
    return (
        select(record_link.c.target_id)
        .where(record_link.c.record_id == sample_id, record_link.c.role == "lot")
        .order_by(record_link.c.version.desc())
        .limit(1)
        .correlate(result, amended)  # it stands two levels deep, where nothing is correlated by itself
        .scalar_subquery()
    )


def standing_now() -> Select[Any]:
    """Return the query of all results as they stand now, without columns."""
    return select().select_from(result).outerjoin(amended, amended.c.result_id == result.c.number)


def of_samples(is_one: Callable[[ColumnElement[Any]], ColumnElement[bool]]) -> ColumnElement[bool]:
    """Return the condition that a result is of a sample for whose id something holds, by way of indexes."""
    amended_here = select(amendment_item.c.result_id).where(is_one(amendment_item.c.sample_id))
    tied_here = (
        select(result_input.c.result_id)
        .join(tie, tie.c.reading_id == result_input.c.source_id)
        .where(MADE_FROM_READING, tie.c.how.in_(BY_PEOPLE), is_one(tie.c.sample_id))
    )
    return and_(
        or_(
            is_one(result.c.sample_id),
            result.c.number.in_(amended_here),
            result.c.number.in_(tied_here),
        ),
        is_one(sample_id),
    )

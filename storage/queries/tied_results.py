"""Whose a result is now: a reading that people tied anew takes its results with it.

Result rows are never changed, and neither are ties: the newest tie that a person made of the reading behind a
result says whose it is; without one it stays with the sample that it was made for.
"""

from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import BindParameter, ColumnElement, Connection, Select, and_, bindparam, or_, select

from storage.schema import result, result_input, tie

BY_PEOPLE: Final = ("hand", "swap", "untie")
"""How ties are made after the moment in which a reading was taken."""

MADE_FROM_READING: Final = and_(result_input.c.version == 1, result_input.c.role == "reading")
"""The part of a result that says from which reading it was made.

It asks for the role, which has no index: asked for the source, SQLite would walk the parts of every result.
"""


def made_from(readings: Select[Any]) -> Select[Any]:
    """Select the ids of the results that were made from some readings, found by the readings."""
    return select(result_input.c.result_id).where(
        result_input.c.version == 1,
        result_input.c.source == "reading",
        result_input.c.source_id.in_(readings),
    )


_TIES: Final = (
    select(result_input.c.result_id, tie.c.sample_id, tie.c.number)
    .join(tie, tie.c.reading_id == result_input.c.source_id)
    .where(
        result_input.c.result_id.in_(bindparam("ids", expanding=True)),
        MADE_FROM_READING,
        tie.c.how.in_(BY_PEOPLE),
        tie.c.number <= bindparam("up_to"),
    )
    .order_by(tie.c.number)
)


def newest_ties(connection: Connection, result_ids: Sequence[int], up_to: int) -> list[Any]:
    """Return result, sample and ledger number of the newest tie that a person made behind each result.

    `up_to` leaves out what came after a ledger number.
    """
    rows = connection.execute(_TIES, {"ids": result_ids, "up_to": up_to})
    return list({row.result_id: row for row in rows}.values())


def is_of_samples(sample_ids: BindParameter[Any]) -> ColumnElement[bool]:
    """Return the condition on `result` that a result is one of some samples now."""
    tied_to = select(tie.c.reading_id).where(tie.c.sample_id.in_(sample_ids), tie.c.how.in_(BY_PEOPLE))
    return or_(
        and_(result.c.sample_id.in_(sample_ids), ~tied_by_people(result).exists()),
        and_(result.c.number.in_(made_from(tied_to)), newest_sample(result).in_(sample_ids)),
    )


def tied_by_people(of: Any) -> Select[Any]:
    """Select every tie that people made behind a result of a table or alias."""
    return (
        select(tie.c.sample_id)
        .join(result_input, result_input.c.source_id == tie.c.reading_id)
        .where(result_input.c.result_id == of.c.number, MADE_FROM_READING, tie.c.how.in_(BY_PEOPLE))
        .correlate(of)
    )


def newest_sample(of: Any) -> ColumnElement[Any]:
    """Return the sample of the newest tie that people made behind a result; NULL if it was taken off."""
    return tied_by_people(of).order_by(tie.c.number.desc()).limit(1).scalar_subquery()


def results_tied_since(since: int) -> Select[Any]:
    """Select the ids of the results that a tie after a ledger number has touched."""
    return made_from(select(tie.c.reading_id).where(tie.c.number > since, tie.c.how.in_(BY_PEOPLE)))


def ties_of_result(result_id: int) -> Select[Any]:
    """Select the ledger numbers of the ties that people made behind a result after it was made."""
    return (
        select(tie.c.number)
        .join(result_input, result_input.c.source_id == tie.c.reading_id)
        .where(
            result_input.c.result_id == result_id,
            MADE_FROM_READING,
            tie.c.how.in_(BY_PEOPLE),
            tie.c.number > result_id,
        )
    )

"""What is asked for results as they stand, each statement built once: building costs more than asking."""

from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from sqlalchemy import ColumnElement, ScalarSelect, Select, Table, and_, bindparam, func, or_, select

from storage.queries.tied_results import is_of_samples
from storage.schema import amendment_item, amendment_state, release, result, standing

FOR_EVER: Final = 2**62
"""Past every number of the ledger."""


@dataclass(frozen=True, slots=True)
class ResultFilter:
    """Which results are wanted; None asks for all."""

    sample_ids: tuple[int, ...] | None = None
    quantity: str | None = None
    method_id: int | None = None
    instrument: str | None = None
    from_us: int | None = None
    to_us: int | None = None
    """Exclusive. [µs]"""


def _last(of: Table, key: ColumnElement[Any], wanted: ColumnElement[Any], up_to: Any) -> ScalarSelect[Any]:
    """Select the number of the newest row of a key, up to an entry."""
    table = of.alias()
    return (
        select(func.max(table.c.number))
        .where(table.c[key.name] == wanted, table.c.number <= up_to)
        .correlate(wanted.table)
        .scalar_subquery()
    )


def _as_judged(up_to: Any) -> Select[Any]:
    """Select results with their newest standing and mark, up to an entry."""
    judged, marked = (
        and_(
            table.c.result_id == result.c.number,
            table.c.number == _last(table, table.c.result_id, result.c.number, up_to),
        )
        for table in (standing, release)
    )
    return (
        select(
            result,
            standing.c.number.label("judged"),
            standing.c.standing,
            standing.c.reasons,
            release.c.number.label("marked"),
            release.c.mark,
        )
        .select_from(result)
        .outerjoin(standing, judged)
        .outerjoin(release, marked)
    )


BY_ID: Final = (
    _as_judged(bindparam("up_to"))
    .where(result.c.number.in_(bindparam("ids", expanding=True)))
    .order_by(result.c.number)
)
"""Results by `ids`, as they were judged up to an entry."""

AMENDED: Final = (
    select(amendment_item, amendment_state.c.number.label("since"), amendment_state.c.state)
    .select_from(amendment_item)
    .join(
        amendment_state,
        and_(
            amendment_state.c.amendment_id == amendment_item.c.amendment_id,
            amendment_state.c.number
            == _last(
                amendment_state,
                amendment_state.c.amendment_id,
                amendment_item.c.amendment_id,
                bindparam("up_to"),
            ),
        ),
    )
    .where(amendment_item.c.result_id.in_(bindparam("ids", expanding=True)))
    .order_by(amendment_item.c.result_id, amendment_item.c.version)
)
"""What amendments say of results by `ids`, with the newest state of each amendment up to an entry."""

_CONDITIONS: Final[dict[str, ColumnElement[bool]]] = {
    "sample_ids": is_of_samples(bindparam("sample_ids", expanding=True)),
    "quantity": result.c.quantity == bindparam("quantity"),
    "method_id": result.c.method_id == bindparam("method_id"),
    "instrument": result.c.instrument == bindparam("instrument"),
    "from_us": result.c.at_us >= bindparam("from_us"),
    "to_us": result.c.at_us < bindparam("to_us"),
}


def values(wanted: ResultFilter) -> dict[str, Any]:
    """Return what a filter asks for, by the names of its fields."""
    given = {name: getattr(wanted, name) for name in _CONDITIONS}
    return {name: value for name, value in given.items() if value is not None}


def asked(wanted: ResultFilter) -> tuple[str, ...]:
    """Return the names of what a filter asks for, in their order."""
    return tuple(values(wanted))


@cache
def as_judged(*names: str) -> Select[Any]:
    """Select results that meet some conditions, `after` an id, in the order of their ids."""
    conditions = [_CONDITIONS[name] for name in names]
    query = _as_judged(FOR_EVER).where(*conditions, result.c.number > bindparam("after"))
    return query.order_by(result.c.number).limit(bindparam("limit"))


@cache
def newest_as_judged(*names: str) -> Select[Any]:
    """Select results that meet some conditions, `before` an id, the newest first."""
    conditions = [_CONDITIONS[name] for name in names]
    query = _as_judged(FOR_EVER).where(*conditions, result.c.number < bindparam("before"))
    return query.order_by(result.c.number.desc()).limit(bindparam("limit"))


@cache
def newest_ids(*names: str) -> Select[Any]:
    """Select ids of results `before` one, the newest first: of an amendment, or of a stretch and a scope."""
    if names == ("amendment_id",):
        number = amendment_item.c.result_id
        query = select(number).where(amendment_item.c.amendment_id == bindparam("amendment_id"))
    else:
        number = result.c.number
        stretch = {"from_us": _CONDITIONS["from_us"], "to_us": result.c.at_us <= bindparam("to_us")}
        scope = [_CONDITIONS[name] for name in names if name not in stretch]
        query = select(number).where(*(stretch[name] for name in names if name in stretch))
        query = query.where(or_(*scope)) if scope else query
    return query.where(number < bindparam("before")).order_by(number.desc()).limit(bindparam("limit"))

"""The sheet of results: one row a result as it stands now, in the dialect asked for.

Only results that are released have a row unless all are asked for; where there is no number the cell is
empty, and standing and reasons stand beside it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, case, func, literal, select

from storage.csv_text.dialects import Column, Dialect, Kind, Reader
from storage.csv_text.readings import header
from storage.csv_text.writers import window, write_rows
from storage.queries.tied_results import newest_sample, tied_by_people
from storage.schema import (
    amendment_item,
    amendment_state,
    record,
    record_link,
    release,
    result,
    standing,
    tie,
)


@dataclass(frozen=True, slots=True)
class ResultSheetFilter:
    """Which results are wanted; None asks for all."""

    released_only: bool = True
    sample: str | None = None
    lot: str | None = None
    quantity: str | None = None
    method: str | None = None
    instrument: str | None = None
    standing: str | None = None
    from_us: int | None = None
    to_us: int | None = None
    """Exclusive. [µs]"""


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
_current = (
    select(_in_force)
    .where(
        ~select(_newer.c.version)
        .where(_newer.c.result_id == _in_force.c.result_id, _newer.c.version > _in_force.c.version)
        .exists()
    )
    .subquery("current_item")
)
_sample_id = case(
    (tied_by_people(result).exists(), newest_sample(result)),
    else_=func.coalesce(_current.c.sample_id, result.c.sample_id),
)


def _newest(column: Any, of: Any) -> ColumnElement[Any]:
    """Return a column of the newest row that a table has for a result."""
    return (
        select(column)
        .where(of.c.result_id == result.c.number)
        .order_by(of.c.number.desc())
        .limit(1)
        .scalar_subquery()
    )


def _code_of(record_id: Any) -> ColumnElement[Any]:
    named = record.alias()
    return (
        select(named.c.code)
        .where(named.c.record_id == record_id, named.c.version == 1)
        .limit(1)
        .correlate(result, _current)
        .scalar_subquery()
    )


def _lot_id() -> ColumnElement[Any]:
    return (
        select(record_link.c.target_id)
        .where(record_link.c.record_id == _sample_id, record_link.c.role == "lot")
        .order_by(record_link.c.version.desc())
        .limit(1)
        .correlate(result, _current)  # it stands two levels deep, where nothing is correlated by itself
        .scalar_subquery()
    )


def results_columns(store_kind: str) -> tuple[Column, ...]:
    """Return the columns of the results sheet; new ones are only ever added at the end."""
    amended = _current.c.version.is_not(None)
    outcome = case((amended, _current.c.outcome), else_=result.c.outcome)
    numeral = case((amended, _current.c.value_numeral), else_=result.c.value_numeral)
    mark = _newest(release.c.mark, release)
    return (
        Column("result_id", Kind.INTEGER, result.c.number),
        Column("version", Kind.INTEGER, func.coalesce(_current.c.version, 1)),
        Column("measured_at_utc", Kind.MOMENT, result.c.at_us),
        Column("sample", Kind.TEXT, _code_of(_sample_id)),
        Column("lot", Kind.TEXT, _code_of(_lot_id())),
        Column("quantity", Kind.TEXT, result.c.quantity),
        Column("value", Kind.NUMERAL, case((outcome == "value", numeral), else_=None)),
        Column("unit", Kind.TEXT, result.c.unit),
        Column("basis", Kind.TEXT, result.c.basis),
        Column("end_point", Kind.TEXT, result.c.end_point),
        Column("outcome", Kind.TEXT, outcome),
        Column("standing", Kind.TEXT, _newest(standing.c.standing, standing)),
        Column("reasons", Kind.TEXT, _newest(standing.c.reasons, standing)),
        Column("released", Kind.INTEGER, case((mark == "released", 1), else_=0)),
        Column("method", Kind.TEXT, _code_of(result.c.method_id)),
        Column("method_version", Kind.INTEGER, result.c.method_version),
        Column("instrument", Kind.TEXT, result.c.instrument),
        Column("typed", Kind.INTEGER, result.c.hand),
        Column("amendment", Kind.INTEGER, _current.c.amendment_id),
        Column("store", Kind.TEXT, literal(store_kind)),
    )


def results_csv(
    reader: Reader, wanted: ResultSheetFilter, dialect: Dialect, *, store_kind: str, up_to: int
) -> Iterator[bytes]:
    """Yield the results sheet in pieces of whole lines, each read in a short transaction of its own.

    Parameters
    ----------
    reader : callable
        Gives a connection for one piece.
    wanted : ResultSheetFilter
        Which results.
    dialect : Dialect
        One of `DIALECTS`.
    store_kind : str
        Stands in the last column of every row.
    up_to : int
        The last result that is shown.
    """
    columns = results_columns(store_kind)
    yield header(columns, dialect)
    place = 0
    while True:
        with reader() as connection:
            limit = window(connection)
            piece = write_rows(connection, columns, _rows(wanted, place, up_to).limit(limit), dialect)
        if piece.text:
            yield piece.text
        if piece.rows < limit:
            return
        place = piece.last


def _rows(wanted: ResultSheetFilter, after: int, up_to: int) -> Select[Any]:
    query = (
        select()
        .select_from(result)
        .outerjoin(_current, _current.c.result_id == result.c.number)
        .where(result.c.number > after, result.c.number <= up_to)
        .order_by(result.c.number)
    )
    if wanted.released_only:
        query = query.where(_newest(release.c.mark, release) == "released")
    for source, value in (
        (_code_of(_sample_id), wanted.sample),
        (_code_of(_lot_id()), wanted.lot),
        (result.c.quantity, wanted.quantity),
        (_code_of(result.c.method_id), wanted.method),
        (result.c.instrument, wanted.instrument),
        (_newest(standing.c.standing, standing), wanted.standing),
    ):
        if value is not None:
            query = query.where(source == value)
    if wanted.from_us is not None:
        query = query.where(result.c.at_us >= wanted.from_us)
    if wanted.to_us is not None:
        query = query.where(result.c.at_us < wanted.to_us)
    return query


def results_revision(connection: Connection) -> int:
    """Return the ledger number of what last changed what the results sheet shows."""
    shown = (result, standing, release, amendment_state, record, tie)
    newest = (connection.execute(select(func.max(table.c.number))).scalar() for table in shown)
    return max(number or 0 for number in newest)

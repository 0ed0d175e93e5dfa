"""The sheet of results: one row a result as it stands now.

Only results that are released have a row unless all are asked for; where there is no number the cell is
empty, and standing and reasons stand beside it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, Select, case, func, literal, select

from storage.csv_text import current
from storage.csv_text.dialects import Column, Dialect, Kind, Reader
from storage.csv_text.reason_words import reason_words
from storage.csv_text.sheet import Sheet, sheet_of
from storage.schema import amendment_state, record, release, result, standing, tie


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
    since: int = 0
    """Only what an entry after this one touched."""
    up_to: int = 2**63 - 1
    """The last result that is shown."""


def results_columns(store_kind: str) -> tuple[Column, ...]:
    """Return the columns of the results sheet; new ones are only ever added at the end."""
    return (
        Column("result_id", Kind.INTEGER, result.c.number),
        Column("version", Kind.INTEGER, current.version),
        Column("measured_at_utc", Kind.MOMENT, result.c.at_us),
        Column("sample", Kind.TEXT, current.code_of(current.sample_id)),
        Column("lot", Kind.TEXT, current.code_of(current.lot_id())),
        Column("quantity", Kind.TEXT, result.c.quantity),
        Column("value", Kind.NUMERAL, current.numeral),
        Column("unit", Kind.TEXT, result.c.unit),
        Column("basis", Kind.TEXT, result.c.basis),
        Column("end_point", Kind.TEXT, result.c.end_point),
        Column("outcome", Kind.TEXT, current.outcome),
        Column("standing", Kind.TEXT, current.standing_word),
        Column("reasons", Kind.TEXT, reason_words(current.reasons)),
        Column("released", Kind.INTEGER, case((current.mark == "released", 1), else_=0)),
        Column("method", Kind.TEXT, current.code_of(result.c.method_id)),
        Column("method_version", Kind.INTEGER, result.c.method_version),
        Column("instrument", Kind.TEXT, result.c.instrument),
        Column("typed", Kind.INTEGER, result.c.hand),
        Column("amendment", Kind.INTEGER, current.amended.c.amendment_id),
        Column("store", Kind.TEXT, literal(store_kind)),
        Column("revision", Kind.INTEGER, current.revision),
    )


def results_sheet(reader: Reader, wanted: ResultSheetFilter, *, store_kind: str) -> Sheet:
    """Return the sheet of results."""
    return sheet_of(
        reader,
        results_columns(store_kind),
        lambda place: wanted_results(wanted, place).order_by(result.c.number),
        count=lambda connection, limit: count_results(connection, wanted, limit),
    )


def results_csv(
    reader: Reader, wanted: ResultSheetFilter, dialect: Dialect, *, store_kind: str, up_to: int
) -> Iterator[bytes]:
    """Yield that sheet as text in pieces of whole lines, each read in a short transaction of its own."""
    return results_sheet(reader, replace(wanted, up_to=up_to), store_kind=store_kind).text(dialect)


def count_results(connection: Connection, wanted: ResultSheetFilter, limit: int) -> int:
    """Return how many results are wanted, counting no further than a limit."""
    some = wanted_results(wanted, 0).add_columns(result.c.number).limit(limit).subquery()
    return connection.execute(select(func.count()).select_from(some)).scalar_one()


def wanted_results(wanted: ResultSheetFilter, after: Any) -> Select[Any]:
    """Return the query of the results that are wanted behind one, without columns."""
    query = current.standing_now().where(result.c.number > after, result.c.number <= wanted.up_to)
    if wanted.released_only:
        query = query.where(current.mark == "released")
    for source, value in (
        (current.code_of(current.sample_id), wanted.sample),
        (current.code_of(current.lot_id()), wanted.lot),
        (result.c.quantity, wanted.quantity),
        (current.code_of(result.c.method_id), wanted.method),
        (result.c.instrument, wanted.instrument),
        (current.standing_word, wanted.standing),
    ):
        if value is not None:
            query = query.where(source == value)
    if wanted.from_us is not None:
        query = query.where(result.c.at_us >= wanted.from_us)
    if wanted.to_us is not None:
        query = query.where(result.c.at_us < wanted.to_us)
    return query if wanted.since == 0 else query.where(current.revision > wanted.since)


def results_revision(connection: Connection) -> int:
    """Return the ledger number of what last changed what sheets of results show."""
    shown = (result, standing, release, amendment_state, record, tie)
    newest = (connection.execute(select(func.max(table.c.number))).scalar() for table in shown)
    return max(number or 0 for number in newest)

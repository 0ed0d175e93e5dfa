"""One row for each value that an amendment changed: the original beside the new one, by whom and why."""

from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Select, case, func, literal, select

from storage.csv_text.dialects import Column, Kind, Reader
from storage.csv_text.sheet import ROWS_A_WINDOW, Heading, Sheet
from storage.schema import amendment, amendment_item, amendment_state, ledger, record, result


@dataclass(frozen=True, slots=True)
class AmendmentSheetFilter:
    """Which amended values are wanted; None asks for all."""

    sample: str | None = None
    quantity: str | None = None
    instrument: str | None = None
    from_us: int | None = None
    to_us: int | None = None
    """When the result was measured; exclusive. [µs]"""
    since: int = 0
    """Only of amendments whose state an entry after this one changed."""
    up_to: int = 2**63 - 1


_last: Final = (
    select(func.max(amendment_state.c.number))
    .where(amendment_state.c.amendment_id == amendment_item.c.amendment_id)
    .correlate(amendment_item)
    .scalar_subquery()
)
_state: Final = amendment_state.alias("current_state")
_made: Final = ledger.alias("made")
_sample_record: Final = record.alias("sample_record")
_sample: Final = (
    select(_sample_record.c.code)
    .where(
        _sample_record.c.record_id == func.coalesce(amendment_item.c.sample_id, result.c.sample_id),
        _sample_record.c.version == 1,
    )
    .limit(1)
    .correlate(amendment_item, result)
    .scalar_subquery()
)


def amendments_columns(store_kind: str) -> tuple[Column, ...]:
    """Return the columns of the sheet of amendments; new ones are only ever added at the end."""
    return (
        Column("revision", Kind.INTEGER, func.coalesce(_state.c.number, amendment_item.c.number)),
        Column("amendment", Kind.INTEGER, amendment_item.c.amendment_id),
        Column("kind", Kind.TEXT, amendment.c.kind),
        Column("state", Kind.TEXT, func.coalesce(_state.c.state, "staged")),
        Column("result_id", Kind.INTEGER, amendment_item.c.result_id),
        Column("version", Kind.INTEGER, amendment_item.c.version),
        Column("sample", Kind.TEXT, _sample),
        Column("quantity", Kind.TEXT, result.c.quantity),
        Column("instrument", Kind.TEXT, result.c.instrument),
        Column("measured_at_utc", Kind.MOMENT, result.c.at_us),
        Column(
            "original", Kind.NUMERAL, case((result.c.outcome == "value", result.c.value_numeral), else_=None)
        ),
        Column(
            "value",
            Kind.NUMERAL,
            case((amendment_item.c.outcome == "value", amendment_item.c.value_numeral), else_=None),
        ),
        Column("unit", Kind.TEXT, amendment_item.c.unit),
        Column("outcome", Kind.TEXT, amendment_item.c.outcome),
        Column("amended_at_utc", Kind.MOMENT, _made.c.at_us),
        Column("amended_by", Kind.TEXT, _made.c.actor),
        Column("why", Kind.TEXT, _made.c.reason),
        Column("store", Kind.TEXT, literal(store_kind)),
    )


def amendments_sheet(reader: Reader, wanted: AmendmentSheetFilter, *, store_kind: str) -> Sheet:
    """Return the sheet of amended values, in the order in which they were staged."""
    columns = amendments_columns(store_kind)
    cells = [column.source.label(f"c{place}") for place, column in enumerate(columns)]

    def windows() -> Any:
        place = (0, 0)
        while True:
            query = _rows(wanted, *place).add_columns(
                *cells, amendment_item.c.number.label("key"), amendment_item.c.ordinal.label("subkey")
            )
            with reader() as connection:
                rows = connection.execute(query.limit(ROWS_A_WINDOW)).all()
            yield [row[:-2] for row in rows]
            if len(rows) < ROWS_A_WINDOW:
                return
            place = rows[-1][-2:]

    def count(connection: Connection, limit: int) -> int:
        some = _rows(wanted, 0, 0).add_columns(amendment_item.c.number).limit(limit).subquery()
        return connection.execute(select(func.count()).select_from(some)).scalar_one()

    return Sheet(tuple(Heading(column.name, column.kind) for column in columns), windows, count)


def _rows(wanted: AmendmentSheetFilter, number: int, ordinal: int) -> Select[Any]:
    key = (amendment_item.c.number > number) | (
        (amendment_item.c.number == number) & (amendment_item.c.ordinal > ordinal)
    )
    query = (
        select()
        .select_from(amendment_item)
        .join(amendment, amendment.c.number == amendment_item.c.amendment_id)
        .join(result, result.c.number == amendment_item.c.result_id)
        .join(_made, _made.c.number == amendment.c.number)
        .outerjoin(_state, _state.c.number == _last)
        .where(key if number else literal(1) == 1, amendment_item.c.number <= wanted.up_to)
        .order_by(amendment_item.c.number, amendment_item.c.ordinal)
    )
    for source, value in (
        (_sample, wanted.sample),
        (result.c.quantity, wanted.quantity),
        (result.c.instrument, wanted.instrument),
    ):
        if value is not None:
            query = query.where(source == value)
    if wanted.from_us is not None:
        query = query.where(result.c.at_us >= wanted.from_us)
    if wanted.to_us is not None:
        query = query.where(result.c.at_us < wanted.to_us)
    if wanted.since:
        query = query.where(func.coalesce(_state.c.number, amendment_item.c.number) > wanted.since)
    return query

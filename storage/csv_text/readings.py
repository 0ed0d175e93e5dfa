"""The sheet of readings: the database builds the lines, window by window, in the dialect asked for.

Numbers come from the numerals that instruments sent, never from a double turned into text. Text that a
spreadsheet might run as a formula is made harmless; numbers are not touched. Where there is no number, the
cell is empty.
"""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import ColumnElement, Select, case, literal, select

from storage.csv_text.dialects import Column, Dialect, Kind, Reader, Text
from storage.csv_text.sheet import Sheet, sheet_of
from storage.queries import ReadingFilter, count_readings, current_only, filter_conditions
from storage.schema import capture, reading, taken


def readings_columns(store_kind: str) -> tuple[Column, ...]:
    """Return the columns of the readings sheet; new ones are only ever added at the end."""
    measured = reading.c.outcome == "value"
    numeral = select_case(measured, reading.c.value_numeral)
    return (
        Column("revision", Kind.INTEGER, reading.c.number),
        Column("reading_id", Kind.INTEGER, reading.c.reading_id),
        Column("version", Kind.INTEGER, reading.c.version),
        Column("measured_at_utc", Kind.MOMENT, reading.c.at_us),
        Column("instrument", Kind.TEXT, reading.c.instrument),
        Column("line", Kind.TEXT, capture.c.line),
        Column("quantity", Kind.TEXT, reading.c.quantity),
        Column("outcome", Kind.TEXT, reading.c.outcome),
        Column("value", Kind.NUMERAL, numeral),
        Column("unit", Kind.TEXT, reading.c.unit),
        Column("normal_value", Kind.NUMERAL, taken.c.normal_text),
        Column("normal_unit", Kind.TEXT, taken.c.normal_unit),
        Column("sample", Kind.TEXT, reading.c.sample),
        Column("sequence", Kind.TEXT, reading.c.sequence),
        Column("instrument_time", Kind.TEXT, reading.c.instrument_time),
        Column("mode", Kind.TEXT, reading.c.mode),
        Column("stable", Kind.INTEGER, reading.c.stable),
        Column("value_text", Kind.TEXT, reading.c.value_text),
        Column("store", Kind.TEXT, literal(store_kind)),
    )


def select_case(condition: ColumnElement[bool], then: Text) -> Text:
    """Return an expression that is NULL where the condition does not hold."""
    return case((condition, then), else_=None)


def readings_sheet(
    reader: Reader, wanted: ReadingFilter, *, store_kind: str, after: int, up_to: int
) -> Sheet:
    """Return the sheet of the readings with `after` < revision <= `up_to`.

    What is written meanwhile lies beyond `up_to`, so the same call gives the same bytes.
    """
    return sheet_of(
        reader,
        readings_columns(store_kind),
        lambda place: _rows(wanted, place, up_to),
        begin=after,
        count=lambda connection, limit: count_readings(
            connection, wanted, after=after, up_to=up_to, limit=limit
        ),
    )


def readings_csv(
    reader: Reader, wanted: ReadingFilter, dialect: Dialect, *, store_kind: str, after: int, up_to: int
) -> Iterator[bytes]:
    """Yield that sheet as text in pieces of whole lines, each read in a short transaction of its own."""
    return readings_sheet(reader, wanted, store_kind=store_kind, after=after, up_to=up_to).text(dialect)


def _rows(wanted: ReadingFilter, after: Any, up_to: int) -> Select[Any]:
    """Return the query of the readings between two revisions, without columns."""
    return (
        select()
        .select_from(reading)
        .join(capture, capture.c.number == reading.c.capture_number)
        .outerjoin(taken, taken.c.reading_number == reading.c.number)
        .where(current_only(), *filter_conditions(wanted))
        .where(reading.c.number > after, reading.c.number <= up_to)
        .order_by(reading.c.number)
    )

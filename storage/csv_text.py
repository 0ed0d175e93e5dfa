"""The one writer of CSV text: the database builds the lines, window by window, in the dialect asked for.

Numbers come from the numerals that instruments sent, never from a double turned into text. Text that a
spreadsheet might run as a formula is made harmless; numbers are not touched. Where there is no number, the
cell is empty.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, String, and_, case, cast, func, literal, not_, or_, select

from storage.queries import ReadingFilter, current_only, filter_conditions
from storage.schema import capture, reading, taken

WINDOW: Final = 2000
"""Rows of one piece of text and of one short transaction."""

Reader = Callable[[], AbstractContextManager[Connection]]
Text = ColumnElement[Any]


class Kind(StrEnum):
    """What the cells of a column hold."""

    INTEGER = "integer"
    NUMERAL = "numeral"
    TEXT = "text"
    MOMENT = "moment"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet."""

    name: str
    kind: Kind
    source: Text


@dataclass(frozen=True, slots=True)
class Dialect:
    """How cells are written."""

    name: str
    separator: str
    decimal_mark: str
    always_quoted: bool
    """Whether text is quoted where it need not be, so that an import can be told to leave it alone."""
    time_format: str
    """For `strftime`, up to whole seconds."""
    fraction: str
    """For `printf`, of the microseconds or milliseconds that follow."""
    fraction_us: int
    """Microseconds in the last digit of the fraction. [µs]"""


DIALECTS: Final = {
    dialect.name: dialect
    for dialect in (
        Dialect(
            "standard",
            ",",
            ".",
            always_quoted=False,
            time_format="%Y-%m-%dT%H:%M:%S",
            fraction=".%06dZ",
            fraction_us=1,
        ),
        Dialect(
            "sheet",
            ",",
            ".",
            always_quoted=True,
            time_format="%Y-%m-%d %H:%M:%S",
            fraction=".%03d",
            fraction_us=1000,
        ),
        Dialect(
            "sheet-eu",
            ";",
            ",",
            always_quoted=True,
            time_format="%Y-%m-%d %H:%M:%S",
            fraction=",%03d",
            fraction_us=1000,
        ),
    )
}
"""``standard`` for programs, ``sheet`` for spreadsheets with a decimal point, ``sheet-eu`` with a comma."""


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


def header(columns: tuple[Column, ...], dialect: Dialect) -> bytes:
    """Return the first line."""
    return (dialect.separator.join(column.name for column in columns) + "\r\n").encode()


def readings_csv(
    reader: Reader,
    wanted: ReadingFilter,
    dialect: Dialect,
    *,
    store_kind: str,
    after: int,
    up_to: int,
) -> Iterator[bytes]:
    """Yield the readings sheet in pieces of whole lines, each read in a short transaction of its own.

    Parameters
    ----------
    reader : callable
        Gives a connection for one piece.
    wanted : ReadingFilter
        Which readings.
    dialect : Dialect
        One of `DIALECTS`.
    store_kind : str
        Stands in the last column of every row.
    after, up_to : int
        Revisions: `after` is exclusive, `up_to` inclusive. What is written meanwhile lies beyond `up_to`, so
        the same call gives the same bytes.
    """
    columns = readings_columns(store_kind)
    yield header(columns, dialect)
    place = after
    while True:
        with reader() as connection:
            text, last, count = connection.execute(_window(columns, wanted, dialect, place, up_to)).one()
        if text:
            yield text.encode()
        if count < WINDOW:
            return
        place = last


def _window(
    columns: tuple[Column, ...], wanted: ReadingFilter, dialect: Dialect, after: int, up_to: int
) -> Any:
    """Return the query of one piece: its text, its last revision and how many rows it has."""
    rows = (
        select(reading.c.number, line_of(columns, dialect).label("line_text"))
        .select_from(reading)
        .join(capture, capture.c.number == reading.c.capture_number)
        .outerjoin(taken, taken.c.reading_number == reading.c.number)
        .where(current_only(), *filter_conditions(wanted))
        .where(reading.c.number > after, reading.c.number <= up_to)
        .order_by(reading.c.number)
        .limit(WINDOW)
        .subquery()
    )
    return select(func.group_concat(rows.c.line_text, ""), func.max(rows.c.number), func.count())


def line_of(columns: tuple[Column, ...], dialect: Dialect) -> Text:
    """Return the expression of one line of text with its end."""
    cells = [cell(column, dialect) for column in columns]
    text = cells[0]
    for one in cells[1:]:
        text = text.concat(dialect.separator).concat(one)
    return text.concat("\r\n")


def cell(column: Column, dialect: Dialect) -> Text:
    """Return the expression of one cell; NULL becomes nothing."""
    writers: dict[Kind, Callable[[Text, Dialect], Text]] = {
        Kind.INTEGER: lambda source, _dialect: cast(source, String),
        Kind.NUMERAL: _with_mark,
        Kind.MOMENT: _moment,
        Kind.TEXT: lambda source, dialect: _quoted(_harmless(source), dialect),
    }
    return func.coalesce(writers[column.kind](column.source, dialect), "")


def _with_mark(numeral: Text, dialect: Dialect) -> Text:
    return numeral if dialect.decimal_mark == "." else func.replace(numeral, ".", dialect.decimal_mark)


def _moment(at_us: Text, dialect: Dialect) -> Text:
    seconds = func.strftime(dialect.time_format, at_us.op("/")(1_000_000), "unixepoch")
    fraction = func.printf(dialect.fraction, at_us.op("%")(1_000_000).op("/")(dialect.fraction_us))
    return seconds.concat(fraction)


def _harmless(text: Text) -> Text:
    """Put an apostrophe before text that a spreadsheet might run; a plain negative numeral is left alone."""
    first = func.substr(text, 1, 1)
    risky = first.in_(["=", "+", "-", "@", "\t", "\r"])
    plain_number = and_(first.in_(["+", "-"]), func.substr(text, 2).op("NOT GLOB")("*[^0-9.,]*"))
    return case((and_(risky, not_(plain_number)), literal("'").concat(text)), else_=text)


def _quoted(text: Text, dialect: Dialect) -> Text:
    quoted = literal('"').concat(func.replace(text, '"', '""')).concat('"')
    if dialect.always_quoted:
        return quoted
    special = or_(*(func.instr(text, mark) > 0 for mark in (dialect.separator, '"', "\r", "\n")))
    return case((special, quoted), else_=text)

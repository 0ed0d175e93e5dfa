"""CSV text built by SQLite itself: one step of the query makes all lines of a window."""

from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Connection, Select, String, and_, case, cast, func, literal, literal_column, not_, or_

from storage.csv_text.dialects import Column, Dialect, Kind, Offset, Piece, Text

_RISKY: Final = literal_column("'=+-@' || char(9, 13)", String)
WINDOW: Final = 2000
"""Rows of one piece of text and of one short transaction."""


def write_rows(
    connection: Connection, columns: Sequence[Column], rows: Select[Any], dialect: Dialect
) -> Piece:
    """Return the lines of the rows of a query that names no columns; the first column is the key."""
    return _piece(connection.execute(statement_of(columns, rows, dialect)))


def write_window(connection: Connection, statement: Select[Any], place: int) -> Piece:
    """Return the lines of the rows of a statement behind the key that it calls ``place``."""
    return _piece(connection.execute(statement, {"place": place}))


def statement_of(columns: Sequence[Column], rows: Select[Any], dialect: Dialect) -> Select[Any]:
    """Return the statement that makes one text of the rows of a query that names no columns."""
    key = columns[0].source.label("key")
    lines = rows.add_columns(key, line_of(columns, dialect).label("line")).subquery()
    return lines.select().with_only_columns(
        func.group_concat(lines.c.line, ""), func.max(lines.c.key), func.count()
    )


def _piece(found: Any) -> Piece:
    text, last, count = found.one()
    return Piece((text or "").encode(), last or 0, count)


def line_of(columns: Sequence[Column], dialect: Dialect) -> Text:
    """Return the expression of one line of text with its end."""
    cells = [cell(column, dialect) for column in columns]
    text = cells[0]
    for one in cells[1:]:
        text = text.concat(dialect.separator).concat(one)
    return text.concat("\r\n")


def cell(column: Column, dialect: Dialect) -> Text:
    """Return the expression of one cell; NULL becomes nothing."""
    source = column.source
    text: Text
    match column.kind:
        case Kind.INTEGER:
            text = cast(source, String)
        case Kind.NUMERAL:
            text = _with_mark(source, dialect)
        case Kind.MOMENT:
            text = _moment(source, column.offset, dialect)
        case Kind.TEXT:
            text = _quoted(source, _harmless(source) if dialect.guarded else source, dialect)
    return func.coalesce(text, "")


def _with_mark(numeral: Text, dialect: Dialect) -> Text:
    return numeral if dialect.decimal_mark == "." else func.replace(numeral, ".", dialect.decimal_mark)


def _moment(at_us: Text, offset: Offset | None, dialect: Dialect) -> Text:
    shown_s: Text = at_us.op("/")(1_000_000)
    if offset is not None:
        shown_s = shown_s.op("+")(offset.minutes.op("*")(60))
    seconds = func.strftime(dialect.time_format, shown_s, "unixepoch")
    fraction = func.printf(dialect.fraction, at_us.op("%")(1_000_000).op("/")(dialect.fraction_us))
    text = seconds.concat(fraction)
    if not dialect.zone_mark:
        return text
    return text.concat(dialect.zone_mark if offset is None else offset.text)


def _harmless(text: Text) -> Text:
    """Put an apostrophe before text that a spreadsheet might run; a plain negative numeral is left alone."""
    first = func.substr(text, 1, 1)
    risky = func.instr(_RISKY, func.nullif(first, "")) > 0  # one look at most cells
    plain_number = and_(
        func.instr("+-", func.nullif(first, "")) > 0, func.substr(text, 2).op("NOT GLOB")("*[^0-9.,]*")
    )
    return case((and_(risky, not_(plain_number)), literal("'").concat(text)), else_=text)


def _quoted(raw: Text, text: Text, dialect: Dialect) -> Text:
    """Quote text where it must be; `raw` is what it was before it was made harmless, and as special."""
    quoted = literal('"').concat(func.replace(text, '"', '""')).concat('"')
    if dialect.always_quoted:
        return quoted
    special = or_(*(func.instr(raw, mark) > 0 for mark in (dialect.separator, '"', "\r", "\n")))
    return case((special, quoted), else_=text)

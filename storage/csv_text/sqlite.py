"""CSV text built by SQLite itself: one step of the query makes all lines of a window.

Few texts hold a mark for which they must be quoted, and looking for one in every cell costs more than all
the rest. So lines are first written without a look; then the marks of the whole window are counted, and only
if there are more than we put there it is written again with care.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from sqlalchemy import (
    Connection,
    Integer,
    LargeBinary,
    Select,
    String,
    and_,
    case,
    cast,
    func,
    literal_column,
    not_,
)

from storage.connect import sqlite_version
from storage.csv_text.dialects import Column, Dialect, Kind, Offset, Piece, Text

_SECOND_US: Final = literal_column("1000000", Integer)  # [µs]
_MINUTE_S: Final = literal_column("60", Integer)  # [s]
LINE_END: Final = "\r\n"
JOINS_BY_ITSELF: Final = (3, 44)
"""The SQLite from which on `concat_ws` is there."""
WINDOW: Final = 5000
"""Rows of one piece of text and of one short transaction."""


class WindowWriter:
    """Writes the rows behind a key, again and again, by statements that are put together once.

    Parameters
    ----------
    columns : sequence of Column
        The first one is the key.
    rows : Select
        The rows in order, without columns; it calls the key ``place``.
    dialect : Dialect
        How cells are written.
    """

    def __init__(self, columns: Sequence[Column], rows: Select[Any], dialect: Dialect) -> None:
        self._marks_a_row = len(columns) - 1
        self._separator = dialect.separator.encode()
        self._quick = None if dialect.always_quoted else statement_of(columns, rows, dialect, quick=True)
        self._careful = statement_of(columns, rows, dialect)
        self._with_care = self._quick is None

    def write(self, connection: Connection, place: int) -> Piece:
        """Return the lines of the rows behind a key."""
        if self._quick is not None and not self._with_care:
            piece = _piece(connection, self._quick, place)
            if self._is_plain(piece):
                return piece
        piece = _piece(connection, self._careful, place)
        self._with_care = self._quick is None or b'"' in piece.text  # where one is, there are more
        return piece

    def _is_plain(self, piece: Piece) -> bool:
        """Tell whether no text holds a mark for which it must be quoted: all there are, we put there."""
        text, rows = piece.text, piece.rows
        return (
            b'"' not in text
            and text.count(self._separator) == rows * self._marks_a_row
            and text.count(b"\r") == text.count(b"\n") == rows
        )


def write_rows(
    connection: Connection, columns: Sequence[Column], rows: Select[Any], dialect: Dialect
) -> Piece:
    """Return the lines of the rows of a query that names no columns; the first column is the key."""
    return WindowWriter(columns, rows, dialect).write(connection, 0)


def statement_of(
    columns: Sequence[Column], rows: Select[Any], dialect: Dialect, *, quick: bool = False
) -> Select[Any]:
    """Return the statement that makes one text of the rows of a query that names no columns.

    The query underneath works out each cell once, whatever is done to it afterwards. A quick statement
    quotes nothing.
    """
    found = rows.add_columns(*_sources(columns)).subquery()
    cells = [_found(column, place, found) for place, column in enumerate(columns)]
    text = func.group_concat(line_of(cells, dialect, quick=quick), _text(LINE_END)).concat(_text(LINE_END))
    return found.select().with_only_columns(cast(text, LargeBinary), func.max(cells[0].source), func.count())


def _sources(columns: Sequence[Column]) -> list[Any]:
    labelled = [column.source.label(f"c{place}") for place, column in enumerate(columns)]
    for place, column in enumerate(columns):
        if column.offset is not None:
            labelled.append(column.offset.minutes.label(f"minutes{place}"))
            labelled.append(column.offset.text.label(f"offset{place}"))
    return labelled


def _found(column: Column, place: int, found: Any) -> Column:
    """Return a column as the query underneath gives it."""
    offset = None
    if column.offset is not None:
        offset = Offset(found.c[f"minutes{place}"], found.c[f"offset{place}"])
    return replace(column, source=found.c[f"c{place}"], offset=offset)


def _piece(connection: Connection, statement: Select[Any], place: int) -> Piece:
    text, last, count = connection.execute(statement, {"place": place}).one()
    return Piece(text or b"", last or 0, count)


def line_of(columns: Sequence[Column], dialect: Dialect, *, quick: bool) -> Text:
    """Return the expression of one line of text, without its end."""
    return joined([cell(column, dialect, quick=quick) for column in columns], _text(dialect.separator))


def joined(cells: Sequence[Text], separator: Text, version: tuple[int, ...] | None = None) -> Text:
    """Return the expression of cells with separators between; none of them is NULL."""
    if (version or sqlite_version()) >= JOINS_BY_ITSELF:
        return func.concat_ws(separator, *cells)  # one text made at once, where each || makes one of its own
    text = cells[0]
    for one in cells[1:]:
        text = text.concat(separator).concat(one)
    return text


def cell(column: Column, dialect: Dialect, *, quick: bool) -> Text:
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
            text = _harmless(source) if dialect.guarded else source
            text = text if quick else _quoted(source, text, dialect)
    return func.coalesce(text, _text(""))


def _with_mark(numeral: Text, dialect: Dialect) -> Text:
    if dialect.decimal_mark == ".":
        return numeral
    return func.replace(numeral, _text("."), _text(dialect.decimal_mark))


def _moment(at_us: Text, offset: Offset | None, dialect: Dialect) -> Text:
    shown_s: Text = at_us.op("/")(_SECOND_US)
    if offset is not None:
        shown_s = shown_s.op("+")(offset.minutes.op("*")(_MINUTE_S))
    seconds = func.datetime(shown_s, _text("unixepoch"))  # a third of what `strftime` takes
    if dialect.time_mark != " ":
        seconds = func.replace(seconds, _text(" "), _text(dialect.time_mark))
    digit: Text = literal_column(str(dialect.fraction_us))
    fraction = func.printf(_text(dialect.fraction), at_us.op("%")(_SECOND_US).op("/")(digit))
    text = seconds.concat(fraction)
    if not dialect.zone_mark:
        return text
    return text.concat(_text(dialect.zone_mark) if offset is None else offset.text)


def _harmless(text: Text) -> Text:
    """Put an apostrophe before text that a spreadsheet might run; a plain negative numeral is left alone."""
    first = func.nullif(func.substr(text, 1, 1), _text(""))
    risky = func.instr(_text("=+-@\t\r"), first) > 0
    signed = func.instr(_text("+-"), first) > 0
    plain_number = and_(signed, func.substr(text, 2).op("NOT GLOB")(_text("*[^0-9.,]*")))
    looked_at = case(
        (text.between(_text("0"), _text(":")), text),
        (and_(risky, not_(plain_number)), _text("'").concat(text)),
        else_=text,
    )
    return case((text < _text("A"), looked_at), else_=text)  # every risky mark comes before it; few texts do


def _quoted(raw: Text, text: Text, dialect: Dialect) -> Text:
    """Quote text where it must be; `raw` is what it was before it was made harmless, and as special."""
    mark = _text('"')
    quoted = mark.concat(func.replace(text, mark, _text('""'))).concat(mark)
    if dialect.always_quoted:
        return quoted
    return case((raw.op("GLOB")(_text(f'*["\r\n{dialect.separator}]*')), quoted), else_=text)


def _text(constant: str) -> Text:
    """Return a text of ours as a part of the statement: a parameter would be fetched anew for each row."""
    doubled = constant.replace("'", "''")
    return literal_column(f"'{doubled}'", String)

"""CSV text by COPY: the server quotes; times, decimal marks and harmless text are part of its query."""

from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Select, and_, case, cast, false, func, literal, null
from sqlalchemy.types import UserDefinedType

from storage.csv_text.dialects import Column, Dialect, Kind, Offset, Piece, Text
from storage.postgresql.wire import received

WINDOW: Final = 20_000
"""Rows of one piece of text and of one short transaction."""
_RISKY: Final = r"^[=@\t\r]|^[+-].*[^0-9.,]"  # a dot matches line ends too


class Copying:
    """A COPY of rows, put together once and made again and again: putting it together costs as much."""

    def __init__(
        self, connection: Connection, columns: Sequence[Column], rows: Select[Any], dialect: Dialect
    ) -> None:
        cells = [_cell(column, dialect).label(f"c{place}") for place, column in enumerate(columns)]
        compiled: Any = rows.add_columns(*cells).compile(dialect=connection.dialect)
        expanded = compiled.construct_expanded_state()  # a list of values becomes as many parameters
        self._statement = f"COPY ({expanded.statement}) TO STDOUT ({_options(columns, dialect)})"
        self._values = _bound(compiled, expanded, connection)
        self._separator = dialect.separator.encode()

    def write(self, connection: Connection, **changed: int) -> Piece:
        """Return the lines of the rows; `changed` are other values for parameters of the query."""
        driver: Any = connection.connection.driver_connection
        found = received(driver, self._statement, {**self._values, **changed})
        key = int(found.last.split(self._separator, 1)[0]) if found.lines else 0
        return Piece(_with_carriage_returns(found.text, found.lines), key, found.lines)


def write_rows(
    connection: Connection, columns: Sequence[Column], rows: Select[Any], dialect: Dialect
) -> Piece:
    """Return the lines of the rows of a query that names no columns; the first column is the key."""
    return Copying(connection, columns, rows, dialect).write(connection)


def _bound(compiled: Any, expanded: Any, connection: Connection) -> dict[str, object]:
    """Return the values of the parameters as the driver takes them."""
    values = dict(expanded.parameters)
    converters = {
        name: parameter.type.dialect_impl(connection.dialect).bind_processor(connection.dialect)
        for parameter, name in compiled.bind_names.items()
    }
    for name, convert in {**converters, **expanded.processors}.items():
        if convert is not None and name in values:
            values[name] = convert(values[name])
    return values


def _options(columns: Sequence[Column], dialect: Dialect) -> str:
    options = f"FORMAT csv, DELIMITER '{dialect.separator}', ENCODING 'UTF8'"
    if not dialect.always_quoted:
        return options
    texts = ", ".join(f"c{place}" for place, column in enumerate(columns) if column.kind is Kind.TEXT)
    return f"{options}, FORCE_QUOTE ({texts})" if texts else options


def _with_carriage_returns(text: bytes, lines: int) -> bytes:
    """Return the lines with both characters at their ends, and only there."""
    if text.count(b"\n") == lines:
        return text.replace(b"\n", b"\r\n")
    parts = text.split(b'"')  # a text has line ends of its own; it is quoted then, every other part is inside
    return b'"'.join(part if place % 2 else part.replace(b"\n", b"\r\n") for place, part in enumerate(parts))


def _cell(column: Column, dialect: Dialect) -> Text:
    """Return the expression of one cell; NULL becomes nothing."""
    source = column.source
    match column.kind:
        case Kind.INTEGER:
            return source
        case Kind.NUMERAL:
            return source if dialect.decimal_mark == "." else func.replace(source, ".", dialect.decimal_mark)
        case Kind.MOMENT:
            return _moment(source, column.offset, dialect)
        case Kind.TEXT:
            return _text(source, dialect)


def _moment(at: Text, offset: Offset | None, dialect: Dialect) -> Text:
    utc: Text = func.timezone("UTC", at)
    if offset is None:
        return func.to_char(
            utc, dialect.server_time + (f'"{dialect.zone_mark}"' if dialect.zone_mark else "")
        )
    local = utc.op("+")(func.make_interval(0, 0, 0, 0, 0, offset.minutes))
    text: Text = func.to_char(local, dialect.server_time)
    return text.concat(offset.text) if dialect.zone_mark else text


def _text(text: Text, dialect: Dialect) -> Text:
    """Put an apostrophe before text that a spreadsheet might run; a plain negative numeral is left alone.

    Most cells end at the first comparison: what is not there, and what begins with a letter or beyond ASCII.
    """
    first = cast(text, _FirstByte())  # servers from 16 on read \\ooo as one byte: it is harmless either way
    cases: list[tuple[ColumnElement[bool], Any]] = []
    if dialect.guarded:
        cases += [((first > _byte("@")).is_not(false()), text)]
        cases += [(and_(first >= _byte("."), first < _byte("=")), text)]
    if not dialect.always_quoted:
        cases += [(text == "", null())]  # COPY would quote empty text
    if dialect.guarded:
        cases += [(text.regexp_match(_RISKY), literal("'").concat(text))]
    return case(*cases, else_=text) if cases else text


class _FirstByte(UserDefinedType[str]):
    """The server's type for a single byte: to compare it costs half of comparing text."""

    cache_ok = True

    def get_col_spec(self, **_: object) -> str:
        return '"char"'


def _byte(mark: str) -> ColumnElement[Any]:
    return cast(literal(mark), _FirstByte())

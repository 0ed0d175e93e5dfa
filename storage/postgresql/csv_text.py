"""CSV text by COPY: the server quotes; times, decimal marks and harmless text are part of its query."""

from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Connection, Select, and_, case, func, literal, not_, or_

from storage.csv_text.dialects import Column, Dialect, Kind, Offset, Piece, Text

WINDOW: Final = 10_000
"""Rows of one piece of text and of one short transaction."""


def write_rows(
    connection: Connection, columns: Sequence[Column], rows: Select[Any], dialect: Dialect
) -> Piece:
    """Return the lines of the rows of a query that names no columns; the first column is the key."""
    cells = [_cell(column, dialect).label(f"c{place}") for place, column in enumerate(columns)]
    lines = list(_copied(connection, rows.add_columns(*cells), _options(columns, dialect)))
    if not lines:
        return Piece(b"", 0, 0)
    last = int(bytes(lines[-1]).split(dialect.separator.encode(), 1)[0])
    return Piece(_with_carriage_returns(lines), last, len(lines))


def _copied(connection: Connection, query: Select[Any], options: str) -> Any:
    """Yield what the server sends, a line at a time."""
    compiled: Any = query.compile(dialect=connection.dialect)
    expanded = compiled.construct_expanded_state()  # a list of values becomes as many parameters
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor:
        statement = f"COPY ({expanded.statement}) TO STDOUT ({options})"
        with cursor.copy(statement, _bound(compiled, expanded, connection)) as copy:
            yield from copy


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


def _with_carriage_returns(lines: Sequence[bytes]) -> bytes:
    """Return the lines with both characters at their ends, and only there."""
    text = b"".join(lines)
    if text.count(b"\n") == len(lines):
        return text.replace(b"\n", b"\r\n")
    return b"".join([bytes(line)[:-1] + b"\r\n" for line in lines])  # a text has line ends of its own


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
            text = _harmless(source) if dialect.guarded else source
            return text if dialect.always_quoted else func.nullif(text, "")  # COPY would quote empty text


def _moment(at: Text, offset: Offset | None, dialect: Dialect) -> Text:
    shown: Text = func.timezone("UTC", at)
    if offset is not None:
        shown = shown.op("+")(func.make_interval(0, 0, 0, 0, 0, offset.minutes))
    text = func.to_char(shown, dialect.server_time)
    if not dialect.zone_mark:
        return text
    return text.concat(dialect.zone_mark if offset is None else offset.text)


def _harmless(text: Text) -> Text:
    """Put an apostrophe before text that a spreadsheet might run; a plain negative numeral is left alone."""
    first = func.left(text, 1)
    risky = func.strpos("=+-@\t\r", func.nullif(first, "")) > 0  # one look at most cells
    signed = or_(first == "+", first == "-")
    plain_number = and_(signed, func.substr(text, 2).op("!~")("[^0-9.,]"))
    return case((and_(risky, not_(plain_number)), literal("'").concat(text)), else_=text)

"""CSV text of rows that were worked out here: byte for byte as the databases write theirs."""

import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from storage.csv_text.dialects import Dialect, Kind
from storage.csv_text.zones import Changes, offset_text

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_RISKY: Final = frozenset("=+-@\t\r")
_NO_NUMBER: Final = re.compile(r"[^0-9.,]")
_SPECIAL: Final = {separator: re.compile(rf'[{separator}"\r\n]') for separator in ",;"}
"""What must be quoted, by the mark between cells."""


def plain_text(
    rows: Iterable[Sequence[Any]], kinds: Sequence[Kind], dialect: Dialect, zone: Changes | None = None
) -> bytes:
    """Return the lines of some rows; in a zone, moments are local and the first is followed by its offset."""
    writers = [_writer(kind, dialect, zone) for kind in kinds]
    first = next((place for place, kind in enumerate(kinds) if kind is Kind.MOMENT), None)
    lines = []
    for row in rows:
        cells = ["" if value is None else write(value) for write, value in zip(writers, row, strict=True)]
        if zone is not None and first is not None:
            cells.insert(first + 1, "" if row[first] is None else str(zone.minutes_at(row[first])))
        lines.append(dialect.separator.join(cells))
    return "".join(f"{line}\r\n" for line in lines).encode()


def header_text(names: Sequence[str], dialect: Dialect) -> bytes:
    """Return the first line."""
    return (dialect.separator.join(_where_needed(name, dialect) for name in names) + "\r\n").encode()


def harmless(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet might run; a plain negative numeral is left alone."""
    if text[:1] not in _RISKY or not text:
        return text
    is_plain = text[0] in "+-" and _NO_NUMBER.search(text, 1) is None
    return text if is_plain else f"'{text}"


def _writer(kind: Kind, dialect: Dialect, zone: Changes | None) -> Callable[[Any], str]:
    match kind:
        case Kind.INTEGER:
            return str
        case Kind.NUMERAL:
            return lambda numeral: str(numeral).replace(".", dialect.decimal_mark)
        case Kind.MOMENT:
            return lambda at_us: moment_text(at_us, dialect, zone)
        case Kind.TEXT:
            quote = _quoted if dialect.always_quoted else _where_needed
            return lambda text: quote(harmless(text) if dialect.guarded else text, dialect)


def moment_text(at_us: int, dialect: Dialect, zone: Changes | None = None) -> str:
    """Return a moment as a dialect writes it. `at_us` since 1970 UTC. [µs]"""
    minutes = 0 if zone is None else zone.minutes_at(at_us)
    shown = _EPOCH + timedelta(microseconds=at_us, minutes=minutes)
    fraction = dialect.fraction % (at_us % 1_000_000 // dialect.fraction_us)
    mark = dialect.zone_mark and (dialect.zone_mark if zone is None else offset_text(minutes))
    return f"{shown:%Y-%m-%d}{dialect.time_mark}{shown:%H:%M:%S}{fraction}{mark}"


def _quoted(text: str, _dialect: Dialect) -> str:
    doubled = text.replace('"', '""')
    return f'"{doubled}"'


def _where_needed(text: str, dialect: Dialect) -> str:
    return _quoted(text, dialect) if _SPECIAL[dialect.separator].search(text) else text

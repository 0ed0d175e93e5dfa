"""How sheets are written: kinds of columns, and the dialects of programs and spreadsheets."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, NamedTuple

from sqlalchemy import ColumnElement, Connection

Reader = Callable[[], AbstractContextManager[Connection]]
Text = ColumnElement[Any]


class Kind(StrEnum):
    """What the cells of a column hold."""

    INTEGER = "integer"
    NUMERAL = "numeral"
    TEXT = "text"
    MOMENT = "moment"


class Offset(NamedTuple):
    """How far a column's times are ahead of UTC, as expressions of the database."""

    minutes: Text
    """[min]"""
    text: Text
    """Such as ``+02:00``."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet that the database writes."""

    name: str
    kind: Kind
    source: Text
    offset: Offset | None = None
    """Of a moment that is shown in local time."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """How cells are written."""

    name: str
    separator: str
    decimal_mark: str
    always_quoted: bool
    """Whether text is quoted where it need not be, so that an import can be told to leave it alone."""
    time_mark: str
    """What stands between date and time."""
    fraction: str
    """For SQLite's `printf`, of the microseconds or milliseconds that follow."""
    fraction_us: int
    """Microseconds in the last digit of the fraction. [µs]"""
    server_time: str
    """For PostgreSQL's `to_char`; like the others it cuts what is beyond the last digit."""
    zone_mark: str
    """What stands behind a time in UTC; where one stands, a local time shows its offset instead."""
    guarded: bool = True
    """Whether text that a spreadsheet would run is made harmless."""


DIALECTS: Final = {
    dialect.name: dialect
    for dialect in (
        Dialect(
            "standard",
            ",",
            ".",
            always_quoted=False,
            time_mark="T",
            fraction=".%06d",
            fraction_us=1,
            server_time='YYYY-MM-DD"T"HH24:MI:SS.US',
            zone_mark="Z",
        ),
        Dialect(
            "sheet",
            ",",
            ".",
            always_quoted=True,
            time_mark=" ",
            fraction=".%03d",
            fraction_us=1000,
            server_time="YYYY-MM-DD HH24:MI:SS.MS",
            zone_mark="",
        ),
        Dialect(
            "sheet-eu",
            ";",
            ",",
            always_quoted=True,
            time_mark=" ",
            fraction=",%03d",
            fraction_us=1000,
            server_time="YYYY-MM-DD HH24:MI:SS,MS",
            zone_mark="",
        ),
    )
}
"""``standard`` for programs, ``sheet`` for spreadsheets with a decimal point, ``sheet-eu`` with a comma."""


class Piece(NamedTuple):
    """Some whole lines of a sheet."""

    text: bytes
    last: int
    """The key of the last row; 0 if there is none."""
    rows: int

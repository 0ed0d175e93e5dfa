"""What a transaction says to SQLite: INSERTs of many rows, which leave out what is NULL.

At each statement the driver lets other threads in, and the writer then waits its turn: with a row a statement
most of its time went into that. And for each NULL and each `bytes` that it is given, the driver first asks
around whether somebody wants to adapt it, which costs more than the rest of the row: so a NULL is left out of
the statement, and bytes go in as a `bytearray`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, groupby, repeat
from operator import is_not, itemgetter
from typing import Any, Final

from sqlalchemy import LargeBinary, Table

from storage.rows import Row, SqlValue
from storage.schema import APPEND_ONLY, ledger

ROWS_A_STATEMENT: Final = (64, 16, 4, 1)
"""Rows of one INSERT, most first. 64 rows of our widest table are 1344 parameters; SQLite takes 32766 (3.32
and later). What is left over is written by the next smaller ones."""

_POSITION_SQL: Final = (
    "INSERT INTO position (name, number) VALUES (?, ?) "
    "ON CONFLICT (name) DO UPDATE SET number = excluded.number"
)
_HEARTBEAT_SQL: Final = (
    "INSERT INTO heartbeat (id, last_at_us) VALUES (1, ?) "
    "ON CONFLICT (id) DO UPDATE SET last_at_us = excluded.last_at_us"
)

Filled = tuple[bool, ...]
"""Which columns of a row hold something."""


@dataclass(frozen=True, slots=True)
class _Insert:
    """How rows are written that fill the same columns of a table."""

    texts: tuple[tuple[int, str], ...]
    """The INSERTs, each with how many rows it takes, most first."""
    values: Callable[[Row], Sequence[SqlValue]]
    """Takes what is to be written out of a row."""


class InsertTexts:
    """The INSERTs of every append-only table, ready for the driver; each is made when it is first needed."""

    def __init__(self) -> None:
        appended = {ledger, *APPEND_ONLY}
        self._tables = [table for table in ledger.metadata.sorted_tables if table in appended]
        self._inserts: dict[tuple[str, Filled], _Insert] = {}

    def insert(self, driver: Any, pending: dict[str, list[Row]]) -> int:
        """Insert rows by table, parents before children; leave `pending` empty and return how many rows."""
        written = 0
        for table in self._tables:
            rows = pending.pop(table.name, [])
            for filled, alike in groupby(rows, key=_filled):
                _write(driver, self._insert(table, filled), list(alike))
            written += len(rows)
        return written

    def set_position(self, driver: Any, name: str, number: int) -> None:
        """Remember how far a later step has come."""
        driver.execute(_POSITION_SQL, (name, number))

    def heartbeat(self, driver: Any, at_us: int) -> None:
        """Remember that the daemon was alive. [µs since 1970 UTC]"""
        driver.execute(_HEARTBEAT_SQL, (at_us,))

    def _insert(self, table: Table, filled: Filled) -> _Insert:
        key = (table.name, filled)
        if key not in self._inserts:
            self._inserts[key] = _insert(table, filled)
        return self._inserts[key]


def _filled(row: Row) -> Filled:
    return tuple(map(is_not, row, repeat(None)))


def _insert(table: Table, filled: Filled) -> _Insert:
    columns = [(place, column) for place, column in enumerate(table.columns) if filled[place]]
    names = ", ".join(f'"{column.name}"' for _, column in columns)
    marks = f"({', '.join('?' * len(columns))})"
    head = f'INSERT INTO "{table.name}" ({names}) VALUES '  # noqa: S608 - names of our own schema
    texts = tuple((count, head + ", ".join([marks] * count)) for count in ROWS_A_STATEMENT)
    take = _taker([place for place, _ in columns])
    return _Insert(texts, _without_bytes(take) if _has_blobs(table) else take)


def _taker(places: Sequence[int]) -> Callable[[Row], Sequence[SqlValue]]:
    if len(places) == 1:  # of one place an `itemgetter` returns the bare value
        return lambda row: (row[places[0]],)
    return itemgetter(*places)


def _has_blobs(table: Table) -> bool:
    return any(isinstance(column.type, LargeBinary) for column in table.columns)


def _without_bytes(take: Callable[[Row], Sequence[SqlValue]]) -> Callable[[Row], Sequence[Any]]:
    return lambda row: [bytearray(value) if type(value) is bytes else value for value in take(row)]


def _write(driver: Any, insert: _Insert, rows: Sequence[Row]) -> None:
    for text, some in _portions(insert.texts, rows):
        driver.execute(text, tuple(chain.from_iterable(map(insert.values, some))))


def _portions(texts: Sequence[tuple[int, str]], rows: Sequence[Row]) -> Iterator[tuple[str, Sequence[Row]]]:
    place = 0
    for count, text in texts:
        while len(rows) - place >= count:
            yield text, rows[place : place + count]
            place += count

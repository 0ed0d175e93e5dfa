"""What a transaction says to SQLite: INSERTs of many rows, which leave out what is NULL.

At each statement the driver lets other threads in, and the writer then waits its turn: with a row a statement
most of its time went into that. And for each NULL and each `bytes` that it is given, the driver first asks
around whether somebody wants to adapt it, which costs more than the rest of the row: so a NULL is left out of
the statement, and bytes go in as a `bytearray`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import chain, groupby, repeat
from operator import is_not
from typing import Any, Final

from sqlalchemy import LargeBinary, Table

from storage.canonical import taker
from storage.rows import Row
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

Take = Callable[[Row], tuple[Any, ...]]
Filled = tuple[bool, ...]
"""Which of the columns that may be NULL hold something."""


@dataclass(frozen=True, slots=True)
class _Insert:
    """How rows are written that fill the same columns of a table."""

    texts: tuple[tuple[int, str], ...]
    """The INSERTs, each with how many rows it takes, most first."""
    values: Take
    """Takes what is to be written out of a row."""


class _TableInserts:
    """The INSERTs of one table; each is made when it is first needed."""

    def __init__(self, table: Table) -> None:
        self._table = table
        self._nullable = [place for place, column in enumerate(table.columns) if column.nullable]
        self._take_nullable = taker(self._nullable)
        self._inserts: dict[Filled, _Insert] = {}

    def write(self, driver: Any, rows: Sequence[Row]) -> None:
        """Insert rows of this table."""
        for filled, alike in groupby(rows, key=self._filled):
            insert = self._inserts.get(filled)
            if insert is None:
                insert = self._inserts[filled] = self._insert(filled)
            _write(driver, insert, list(alike))

    def _filled(self, row: Row) -> Filled:
        return tuple(map(is_not, self._take_nullable(row), repeat(None)))

    def _insert(self, filled: Filled) -> _Insert:
        empty = {place for place, is_filled in zip(self._nullable, filled, strict=True) if not is_filled}
        columns = [(place, one) for place, one in enumerate(self._table.columns) if place not in empty]
        plain = [(place, one) for place, one in columns if not isinstance(one.type, LargeBinary)]
        blobs = [(place, one) for place, one in columns if isinstance(one.type, LargeBinary)]
        names = ", ".join(f'"{column.name}"' for _, column in (*plain, *blobs))
        marks = f"({', '.join('?' * len(columns))})"
        head = f'INSERT INTO "{self._table.name}" ({names}) VALUES '  # noqa: S608 - names of our own schema
        texts = tuple((count, head + ", ".join([marks] * count)) for count in ROWS_A_STATEMENT)
        return _Insert(texts, _values([place for place, _ in plain], [place for place, _ in blobs]))


class InsertTexts:
    """The INSERTs of every append-only table, ready for the driver."""

    def __init__(self) -> None:
        appended = {ledger, *APPEND_ONLY}
        self._tables = {
            table.name: _TableInserts(table) for table in ledger.metadata.sorted_tables if table in appended
        }

    def insert(self, driver: Any, pending: dict[str, list[Row]]) -> int:
        """Insert rows by table, parents before children; leave `pending` empty and return how many rows."""
        written = 0
        for name, inserts in self._tables.items():
            if rows := pending.pop(name, None):
                inserts.write(driver, rows)
                written += len(rows)
        return written

    def set_position(self, driver: Any, name: str, number: int) -> None:
        """Remember how far a later step has come."""
        driver.execute(_POSITION_SQL, (name, number))

    def heartbeat(self, driver: Any, at_us: int) -> None:
        """Remember that the daemon was alive. [µs since 1970 UTC]"""
        driver.execute(_HEARTBEAT_SQL, (at_us,))


def _values(plain: Sequence[int], blobs: Sequence[int]) -> Take:
    take_plain, take_blobs = taker(plain), taker(blobs)
    if not blobs:
        return take_plain
    return lambda row: (*take_plain(row), *map(bytearray, take_blobs(row)))


def _write(driver: Any, insert: _Insert, rows: Sequence[Row]) -> None:
    place = 0
    for count, text in insert.texts:
        while len(rows) - place >= count:
            some = rows[place : place + count]
            driver.execute(text, tuple(chain.from_iterable(map(insert.values, some))))
            place += count

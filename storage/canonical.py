"""Rows as bytes that mean one thing only, so that a digest of them can be trusted.

Grammar, version 2::

    rows   = "tundish.rows.2;" table*    tables in the order of the schema, only those that have rows
    table  = "t" name ";" row*           rows in primary key order
    row    = "r" kind* ";" number* length* text* blob*
    kind   = "i" | "d" | "t" | "b"       whole number, real, text, blob: one a column, in column order,
           | "n"                         or NULL; NULLs after the last value are left out
    number = eight bytes, big-endian     first the whole numbers, then the reals (IEEE 754)
    length = eight bytes, big-endian     first the characters of each text, then the bytes of each blob
    text   = UTF-8                       one after the other
    blob   = bytes                       one after the other

The kinds say how many numbers, lengths, texts and blobs follow, and the lengths where each of these ends, so
different rows never give the same bytes. Leaving the last NULLs out lets a table gain a nullable column
without changing the digest of what stands.

Rows of one table mostly have values of the same types. How such a row is written is worked out once and kept,
so that for each row little is left to do: the writer does it for every one.
"""

import math
import re
import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, Final

from sqlalchemy import Column, LargeBinary, Table, Text
from sqlalchemy.types import Double

from storage.errors import RowError
from storage.rows import Row, SqlValue
from storage.schema import APPEND_ONLY

ROWS_PREFIX: Final = b"tundish.rows.2;"
NULL: Final = "n"
_NUMERAL: Final = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?", re.ASCII)

Encode = Callable[[Row], bytes]
"""Writes a row whose values have the types that it was made for."""


@dataclass(frozen=True, slots=True)
class Kind:
    """What a column holds."""

    letter: str
    types: tuple[type, ...]
    wanted: str
    """In words, for who brought something else."""


INTEGER: Final = Kind("i", (int,), "a whole number of at most 64 bits")
REAL: Final = Kind("d", (int, float), "a finite number")
TEXT: Final = Kind("t", (str,), "text")
NUMERAL: Final = Kind("t", (str,), "a plain decimal numeral such as -3.410")
BLOB: Final = Kind("b", (bytes,), "bytes")


class RowEncoder:
    """Writes rows of the same columns."""

    def __init__(self, kinds: Sequence[Kind]) -> None:
        self._kinds = tuple(kinds)
        self._by_types: dict[tuple[type, ...], Encode] = {}

    def encode(self, row: Row) -> bytes:
        """Return one row as bytes. Raises `RowError` if a value does not fit its column."""
        types = tuple(map(type, row))
        encode = self._by_types.get(types)
        if encode is None:
            self._check_types(row)
            encode = self._by_types[types] = _encoding(self._kinds, types)
        try:
            return encode(row)
        except struct.error as error:
            raise RowError(f"{INTEGER.wanted} is wanted: {error}") from error
        except (ValueError, OverflowError) as error:
            raise RowError(str(error)) from error

    def _check_types(self, row: Row) -> None:
        if len(row) != len(self._kinds):
            raise RowError(f"{len(self._kinds)} fields are wanted, {len(row)} came")
        for kind, value in zip(self._kinds, row, strict=True):
            if value is not None and not isinstance(value, kind.types):
                raise _unfit(kind, value)


def _encoding(kinds: Sequence[Kind], types: Sequence[type]) -> Encode:
    """Return how a row is written whose values have these types."""
    there = [place for place, its_type in enumerate(types) if its_type is not type(None)]

    def take(*wanted: Kind) -> Take:
        return taker([place for place in there if kinds[place] in wanted])

    integers, reals, words, blobs = take(INTEGER), take(REAL), take(TEXT, NUMERAL), take(BLOB)
    numerals = take(NUMERAL)
    count = {
        kind: sum(kinds[place] is kind for place in there) for kind in (INTEGER, REAL, TEXT, NUMERAL, BLOB)
    }
    letters = (kind.letter if place in there else NULL for place, kind in enumerate(kinds))
    head = b"r%b;" % "".join(letters).rstrip(NULL).encode()
    lengths = count[TEXT] + count[NUMERAL] + count[BLOB]
    pack = struct.Struct(f">{count[INTEGER]}q{count[REAL]}d{lengths}q").pack

    def encode(row: Row) -> bytes:
        for numeral in numerals(row):
            if _NUMERAL.fullmatch(numeral) is None:
                raise _unfit(NUMERAL, numeral)
        texts, bodies = words(row), blobs(row)
        numbers = pack(*integers(row), *map(_finite, reals(row)), *map(len, texts), *map(len, bodies))
        return b"".join((head, numbers, "".join(texts).encode(), *bodies))

    return encode


Take = Callable[[Row], tuple[Any, ...]]


def taker(places: Sequence[int]) -> Take:
    """Return what takes the values at some places out of a row."""
    match places:
        case []:
            return _nothing
        case [place]:
            return itemgetter(slice(place, place + 1))  # of one place it would return the bare value
        case _:
            return itemgetter(*places)


def _nothing(_row: Row) -> tuple[Any, ...]:
    return ()


def _finite(value: float) -> float:
    """Return a number as the database keeps it: zero has no sign."""
    if not math.isfinite(value):
        raise _unfit(REAL, value)
    return value + 0.0


def _unfit(kind: Kind, value: SqlValue) -> RowError:
    return RowError(f"{kind.wanted} is wanted, {value!r} came")


class TableEncoder:
    """Encodes the rows of one table that came with one entry."""

    def __init__(self, table: Table) -> None:
        self._name = table.name
        self._head = f"t{table.name};".encode()
        self._row = RowEncoder([_kind(column) for column in table.columns])
        self._key = itemgetter(*range(len(table.primary_key.columns)))

    def encode(self, rows: Sequence[Row]) -> bytes:
        """Return the rows, in primary key order, as bytes. Raises `RowError` if one does not fit."""
        try:
            if len(rows) == 1:
                return self._head + self._row.encode(rows[0])
            return self._head + b"".join(map(self._row.encode, sorted(rows, key=self._key)))
        except (RowError, TypeError, IndexError) as error:  # keys of other types, or none, have no order
            raise RowError(
                f"a row for table {self._name} does not fit: {error}; rows: {rows!r:.300}"
            ) from error


def _kind(column: Column[object]) -> Kind:
    if column.info.get("numeral"):
        return NUMERAL
    if isinstance(column.type, Text):
        return TEXT
    if isinstance(column.type, LargeBinary):
        return BLOB
    if isinstance(column.type, Double):
        return REAL
    return INTEGER


class RowsEncoder:
    """Encodes all rows that came with one entry."""

    def __init__(self, tables: Sequence[Table] = APPEND_ONLY) -> None:
        self._tables = {table.name: TableEncoder(table) for table in tables}
        self._order = {table.name: place for place, table in enumerate(tables)}

    def encode(self, rows: Mapping[str, Sequence[Row]]) -> bytes:
        """Return the rows of one entry as bytes; keys are table names, rows carry their number.

        Raises `RowError` for a table that is not append-only, or a row that does not fit its table.
        """
        try:
            names = sorted(rows, key=self._order.__getitem__) if len(rows) > 1 else rows
            return ROWS_PREFIX + b"".join(
                [self._tables[name].encode(rows[name]) for name in names if rows[name]]
            )
        except KeyError as error:
            known = ", ".join(self._order)
            raise RowError(f"{error} is no append-only table; known are {known}") from error

"""Rows as bytes that mean one thing only, so that a digest of them can be trusted.

Grammar, version 1::

    rows   = "tundish.rows.1;" table*       tables in the order of the schema, only those that have rows
    table  = "t" text row*                  rows in primary key order
    row    = "r" field*                     fields in column order; a field that is not there is NULL
    field  = index ( integer | real | text | blob )
    integer = "I" decimal ";"
    real   = "R" eight bytes, IEEE 754, big-endian
    text   = "T" byte-length ":" UTF-8
    blob   = "B" length ":" bytes

Every element says its type and its end, so different rows never give the same bytes. Leaving NULL out lets a
table gain a nullable column without changing the digest of what stands.
"""

import math
import re
import struct
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from sqlalchemy import Column, LargeBinary, Table, Text
from sqlalchemy.types import Double

from storage.errors import RowError
from storage.rows import Row, SqlValue
from storage.schema import APPEND_ONLY

ROWS_PREFIX: Final = b"tundish.rows.1;"
NUMERAL: Final = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?", re.ASCII)

FieldEncoder = Callable[[SqlValue], bytes]


def integer_field(index: int) -> FieldEncoder:
    """Return the encoder of an integer column."""
    form = b"%dI%%d;" % index

    def encode(value: SqlValue) -> bytes:
        if not isinstance(value, int):
            raise RowError(f"a whole number is wanted, {value!r} came")
        return form % value

    return encode


def real_field(index: int) -> FieldEncoder:
    """Return the encoder of a double column: finite, and zero without a sign, as the database keeps it."""
    head = b"%dR" % index
    pack = struct.Struct(">d").pack

    def encode(value: SqlValue) -> bytes:
        if not isinstance(value, int | float) or not math.isfinite(value):
            raise RowError(f"a finite number is wanted, {value!r} came")
        return head + pack(value + 0.0)

    return encode


def text_field(index: int) -> FieldEncoder:
    """Return the encoder of a text column."""
    form = b"%dT%%d:%%b" % index

    def encode(value: SqlValue) -> bytes:
        if not isinstance(value, str):
            raise RowError(f"text is wanted, {value!r} came")
        raw = value.encode()
        return form % (len(raw), raw)

    return encode


def numeral_field(index: int) -> FieldEncoder:
    """Return the encoder of a column of plain decimal numerals."""
    encode_text = text_field(index)

    def encode(value: SqlValue) -> bytes:
        if not isinstance(value, str) or NUMERAL.fullmatch(value) is None:
            raise RowError(f"a plain decimal numeral such as -3.410 is wanted, {value!r} came")
        return encode_text(value)

    return encode


def blob_field(index: int) -> FieldEncoder:
    """Return the encoder of a column of bytes."""
    form = b"%dB%%d:%%b" % index

    def encode(value: SqlValue) -> bytes:
        if not isinstance(value, bytes):
            raise RowError(f"bytes are wanted, {value!r} came")
        return form % (len(value), value)

    return encode


def encode_fields(fields: Sequence[FieldEncoder], row: Row) -> bytes:
    """Return one row as bytes. Raises `RowError` if it has another number of fields."""
    parts = [b"r"]
    for field, value in zip(fields, row, strict=True):
        if value is not None:
            parts.append(field(value))
    return b"".join(parts)


class TableEncoder:
    """Encodes the rows of one table that came with one entry."""

    def __init__(self, table: Table) -> None:
        name = table.name.encode()
        self._name = table.name
        self._head = b"tT%d:%b" % (len(name), name)
        self._fields = tuple(_field(index, column) for index, column in enumerate(table.columns))
        self._key_length = len(table.primary_key.columns)

    def encode(self, rows: Sequence[Row]) -> bytes:
        """Return the rows, in primary key order, as bytes. Raises `RowError` if one does not fit."""
        ordered = rows if len(rows) == 1 else sorted(rows, key=self._key)
        try:
            return self._head + b"".join([encode_fields(self._fields, row) for row in ordered])
        except (ValueError, OverflowError) as error:
            raise RowError(
                f"a row for table {self._name} does not fit: {error}; rows: {rows!r:.300}"
            ) from error

    def _key(self, row: Row) -> tuple[int, ...]:
        return tuple(int(value or 0) for value in row[: self._key_length])


def _field(index: int, column: Column[object]) -> FieldEncoder:
    if column.info.get("numeral"):
        return numeral_field(index)
    if isinstance(column.type, Text):
        return text_field(index)
    if isinstance(column.type, LargeBinary):
        return blob_field(index)
    if isinstance(column.type, Double):
        return real_field(index)
    return integer_field(index)


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
            names = sorted(rows, key=self._order.__getitem__) if len(rows) > 1 else list(rows)
            return ROWS_PREFIX + b"".join(
                [self._tables[name].encode(rows[name]) for name in names if rows[name]]
            )
        except KeyError as error:
            known = ", ".join(self._order)
            raise RowError(f"{error} is no append-only table; known are {known}") from error

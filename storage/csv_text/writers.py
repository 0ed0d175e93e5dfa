"""The writer of CSV text for each kind of database."""

from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import Connection, Select

from storage.csv_text import sqlite
from storage.csv_text.dialects import Column, Dialect, Piece
from storage.postgresql import csv_text as postgresql


def window(connection: Connection) -> int:
    """Return how many rows make one piece of text and one short transaction."""
    return postgresql.WINDOW if connection.dialect.name == "postgresql" else sqlite.WINDOW


def write_rows(
    connection: Connection, columns: Sequence[Column], rows: Select[Any], dialect: Dialect
) -> Piece:
    """Return the lines of the rows of a query that names no columns; the first column is the key."""
    write = postgresql.write_rows if connection.dialect.name == "postgresql" else sqlite.write_rows
    return write(connection, columns, rows, dialect)


def window_writer(
    connection: Connection, columns: Sequence[Column], rows: Select[Any], dialect: Dialect
) -> Callable[[Connection, int], Piece]:
    """Return what writes the rows behind a key, which the query calls ``place``, again and again.

    A statement is put together once: that costs as much as writing a window of rows.
    """
    if connection.dialect.name == "postgresql":
        copying = postgresql.Copying(connection, columns, rows, dialect)
        return lambda reading, place: copying.write(reading, place=place)
    return sqlite.WindowWriter(columns, rows, dialect).write

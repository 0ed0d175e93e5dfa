"""The open form of a store: one JSON object a row, the bytes of captures as files, and what lies where.

Text stands as text, times as whole microseconds since 1970 UTC, numbers as JSON numbers that give back the
same double, bytes as hexadecimal digits. The bytes of chunks stand once, in the file of their capture: a
chunk says how many of them are its own.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from sqlalchemy import LargeBinary, Table

from storage.columns import UtcMicroseconds
from storage.errors import ExportError
from storage.rows import Row, SqlValue
from storage.schema import APPEND_ONLY, MUTABLE_TABLES, ledger, metadata

FORM: Final = "tundish.export.1"
MANIFEST: Final = "manifest.json"
SUMS: Final = "SHA256SUMS"
DATA_LENGTH: Final = "data_length"
"""Stands in a chunk in place of its bytes. [bytes]"""

COVERED: Final[tuple[Table, ...]] = (ledger, *APPEND_ONLY)
"""The tables that the ledger's chain covers, with the ledger itself."""
EVERY_TABLE: Final[tuple[Table, ...]] = (*COVERED, *(metadata.tables[name] for name in MUTABLE_TABLES))


def table_file(name: str) -> str:
    """Return where the rows of a table stand."""
    return f"tables/{name}.jsonl"


def capture_file(number: int, direction: str) -> str:
    """Return where the bytes of a capture stand that were heard, or sent."""
    return f"captures/{number}.{direction}"


def to_object(table: Table, row: Row) -> dict[str, Any]:
    """Return a row as it stands in a line of JSON."""
    found: dict[str, Any] = {}
    for column, value in zip(table.columns, row, strict=True):
        if table.name == "chunk" and column.name == "data":
            assert isinstance(value, bytes)  # noqa: S101 - the column holds bytes
            found[DATA_LENGTH] = len(value)
        else:
            found[column.name] = value.hex() if isinstance(value, bytes) else value
    return found


def to_line(table: Table, row: Row) -> bytes:
    """Return a row as a line of JSON."""
    text = json.dumps(to_object(table, row), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.encode() + b"\n"


def from_object(table: Table, found: Mapping[str, Any]) -> Row:
    """Return the row of what stands in a line of JSON; bytes of a chunk must be in it already.

    Raises `KeyError` if a column is missing, and `ValueError` if bytes are none.
    """
    return tuple(_value(column, found[column.name]) for column in table.columns)


def _value(column: Any, value: Any) -> SqlValue:
    if isinstance(column.type, LargeBinary) and isinstance(value, str):
        return bytes.fromhex(value)
    plain: SqlValue = value
    return plain


def columns_of(table: Table) -> list[dict[str, Any]]:
    """Return what a reader must know of each column."""
    return [
        {
            "name": column.name,
            "type": _type_word(column),
            "key": column.primary_key,
            "may_be_null": column.nullable,
        }
        for column in table.columns
    ]


def _type_word(column: Any) -> str:
    if isinstance(column.type, UtcMicroseconds):
        return "microseconds since 1970 UTC"
    if isinstance(column.type, LargeBinary):
        return "bytes, hexadecimal"
    kinds: dict[type, str] = {int: "whole number", float: "double", str: "text"}
    return kinds[column.type.python_type]


def below(folder: Path, name: str) -> Path:
    """Return a file of the folder; raise `ExportError` for a name that leads out of it."""
    path = folder / name
    if Path(name).is_absolute() or ".." in Path(name).parts:
        raise ExportError(f"{folder / MANIFEST} names {name!r}, which leads out of the folder")
    return path


README: Final = """\
What this folder holds: everything of one tundish store, in open form.

manifest.json      what the store is, where its ledger stands, each table with its columns
tables/*.jsonl     every row of every table, one JSON object a line, in the order of its key
captures/N.heard   the bytes that capture N delivered, one chunk after the other
captures/N.sent    the bytes that were sent in it, if any
sheets/*.csv       readings and results as they stand now, for spreadsheets (RFC 4180)
SHA256SUMS         the SHA-256 of every other file: sha256sum -c SHA256SUMS

A row's "number" is the entry of the ledger that brought it. A chunk stands without its bytes: they are the
next "data_length" bytes of the file of its capture and direction, in the order of the chunks. Rows of "pin"
and "access_key" hold hashes of secrets: keep this folder as carefully as the store.

`tundish export --check FOLDER` reads everything back and walks the chain of the ledger through it.
"""

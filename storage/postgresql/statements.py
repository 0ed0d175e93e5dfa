"""What the writer says to a server: rows go in by binary COPY, a few times as fast as INSERTs."""

import struct
from typing import Any, Final

from sqlalchemy import Column, LargeBinary, Table, Text
from sqlalchemy.types import Double

from storage.columns import UtcMicroseconds
from storage.rows import Row
from storage.schema import APPEND_ONLY, ledger

SERVER_EPOCH_US: Final = 946_684_800_000_000  # 2000-01-01T00:00:00Z, where the server begins to count [µs]
_TIMESTAMPTZ_OID: Final = 1184  # pg_type.dat of PostgreSQL
_FLOAT8_OID: Final = 701  # pg_type.dat of PostgreSQL

_POSITION_SQL: Final = (
    "INSERT INTO position (name, number) VALUES (%s, %s) "
    "ON CONFLICT (name) DO UPDATE SET number = excluded.number"
)
_HEARTBEAT_SQL: Final = (
    "INSERT INTO heartbeat (id, last_at_us) VALUES (1, timestamptz 'epoch' + %s * interval '1 microsecond') "
    "ON CONFLICT (id) DO UPDATE SET last_at_us = excluded.last_at_us"
)


class _MomentKey(int):
    """Stands for a moment where the driver asks which Python type a dumper is for."""


class _RealKey(float):
    """Stands for a double where the driver asks which Python type a dumper is for."""


def take_moments_as_they_are(connection: Any) -> None:
    """Let a connection copy whole microseconds since 1970 UTC into ``timestamptz``, and zero without a sign.

    The server keeps the sign of zero, a SQLite file does not; both must give back the same.
    """
    from psycopg.adapt import Dumper
    from psycopg.pq import Format

    pack_integer, pack_real = struct.Struct(">q").pack, struct.Struct(">d").pack

    class MomentDumper(Dumper):
        format = Format.BINARY
        oid = _TIMESTAMPTZ_OID

        def dump(self, obj: int) -> bytes:
            return pack_integer(obj - SERVER_EPOCH_US)

    class RealDumper(Dumper):
        format = Format.BINARY
        oid = _FLOAT8_OID

        def dump(self, obj: float) -> bytes:
            return pack_real(obj + 0.0)

    connection.adapters.register_dumper(_MomentKey, MomentDumper)
    connection.adapters.register_dumper(_RealKey, RealDumper)


class CopyTexts:
    """PostgreSQL's: a COPY of each append-only table, with the types of its columns."""

    def __init__(self) -> None:
        parents_first = [table for table in ledger.metadata.sorted_tables if table in {ledger, *APPEND_ONLY}]
        self._copies = {table.name: (_copy(table), _types(table)) for table in parents_first}

    def insert(self, driver: Any, pending: dict[str, list[Row]]) -> int:
        """Insert rows by table, parents before children; leave `pending` empty and return how many rows."""
        written = 0
        for table, (text, types) in self._copies.items():
            if rows := pending.pop(table, None):
                with driver.cursor() as cursor, cursor.copy(text) as copy:
                    copy.set_types(types)
                    for row in rows:
                        copy.write_row(row)
                written += len(rows)
        return written

    def set_position(self, driver: Any, name: str, number: int) -> None:
        """Remember how far a later step has come."""
        driver.execute(_POSITION_SQL, (name, number))

    def heartbeat(self, driver: Any, at_us: int) -> None:
        """Remember that the daemon was alive. [µs since 1970 UTC]"""
        driver.execute(_HEARTBEAT_SQL, (at_us,))


def _copy(table: Table) -> str:
    columns = ", ".join(f'"{name}"' for name in table.columns.keys())  # noqa: SIM118 - a collection of columns
    return f'COPY "{table.name}" ({columns}) FROM STDIN (FORMAT BINARY)'


def _types(table: Table) -> list[str]:
    return [_type(column) for column in table.columns]


def _type(column: Column[Any]) -> str:
    kinds = ((UtcMicroseconds, "timestamptz"), (Text, "text"), (LargeBinary, "bytea"), (Double, "float8"))
    return next((name for kind, name in kinds if isinstance(column.type, kind)), "int8")

"""Triggers that refuse to change what was written, and the views; made anew after every migration."""

from collections.abc import Sequence
from typing import Final

from sqlalchemy import Connection, inspect

from storage.schema import APPEND_ONLY, MUTABLE_TABLES, ledger

VIEWS: Final = {
    "reading_current": (
        "SELECT reading.*,"
        " to_char(reading.at_us AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS.US\"Z\"') AS at_utc,"
        " taken.normal_text, taken.normal_unit, taken.note"
        " FROM reading LEFT JOIN taken ON taken.reading_number = reading.number"
        " WHERE NOT EXISTS (SELECT 1 FROM reading AS newer WHERE newer.reading_id = reading.reading_id"
        " AND newer.version > reading.version AND newer.version > 1)"
    ),
}

_REFUSE: Final = """
    CREATE OR REPLACE FUNCTION tundish_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION USING
            MESSAGE = TG_TABLE_NAME || ' is append-only: what was written is never changed',
            ERRCODE = 'integrity_constraint_violation';
    END
    $$
"""
_SCOPES: Final = {"update": "ROW", "delete": "ROW", "truncate": "STATEMENT"}


def make_guards(connection: Connection) -> None:
    """Make every trigger and view anew, in the transaction of the connection.

    They fire even in a session that plays the part of a replica. Nobody but the owner gets a right here;
    the owner keeps UPDATE alone of those that change rows, because the server's own check of a reference
    asks for it.
    """
    there = set(inspect(connection).get_table_names())
    connection.exec_driver_sql(_REFUSE)
    for name in (table.name for table in (ledger, *APPEND_ONLY) if table.name in there):
        for act, scope in _SCOPES.items():
            trigger = f"guard_{name}_{act}"
            connection.exec_driver_sql(f'DROP TRIGGER IF EXISTS {trigger} ON "{name}"')
            connection.exec_driver_sql(
                f'CREATE TRIGGER {trigger} BEFORE {act.upper()} ON "{name}" '
                f"FOR EACH {scope} EXECUTE FUNCTION tundish_refuse()"
            )
            connection.exec_driver_sql(f'ALTER TABLE "{name}" ENABLE ALWAYS TRIGGER {trigger}')
        connection.exec_driver_sql(f'REVOKE DELETE, TRUNCATE ON "{name}" FROM PUBLIC, CURRENT_USER')
    for name, query in VIEWS.items():
        connection.exec_driver_sql(f"DROP VIEW IF EXISTS {name}")
        if {"reading", "taken"} <= there:
            connection.exec_driver_sql(f"CREATE VIEW {name} AS {query}")


# Bits of pg_trigger.tgtype: 1 row, 2 before, 8 delete, 16 update, 32 truncate (PostgreSQL, pg_trigger.h).
_TYPES: Final = {"update": 1 + 2 + 16, "delete": 1 + 2 + 8, "truncate": 2 + 32}
_FIRES_ALWAYS: Final = "A"
_FOUND: Final = """
    SELECT trigger.tgname, relation.relname, trigger.tgtype, trigger.tgenabled, called.prosrc
    FROM pg_trigger AS trigger
    JOIN pg_class AS relation ON relation.oid = trigger.tgrelid
    JOIN pg_namespace AS place ON place.oid = relation.relnamespace
    JOIN pg_proc AS called ON called.oid = trigger.tgfoid
    WHERE NOT trigger.tgisinternal AND place.nspname = current_schema()
"""


def wanted_and_found(connection: Connection) -> tuple[dict[str, str], dict[str, str]]:
    """Return how each trigger should be and how it is, by name: its table, its kind and what it does."""
    there = set(inspect(connection).get_table_names())
    refuse = _REFUSE.split("$$")[1]
    wanted = {
        f"guard_{table.name}_{act}": _described(table.name, kind, _FIRES_ALWAYS, refuse)
        for table in (ledger, *APPEND_ONLY)
        if table.name in there
        for act, kind in _TYPES.items()
    }
    rows = connection.exec_driver_sql(_FOUND)
    return wanted, {name: _described(*described) for name, *described in rows}


def _described(table: str, kind: int, enabled: str, does: str) -> str:
    return f"{table} {kind} {enabled} {does}"


def grant(connection: Connection, *, writer: str, readers: Sequence[str] = ()) -> None:
    """Give the daemon's role the right to add, and others the right to look; again after each migration.

    Raises
    ------
    sqlalchemy.exc.ProgrammingError
        If there is no such role, or this one may not give rights.
    """
    quoted = connection.dialect.identifier_preparer.quote
    schema = quoted(str(connection.exec_driver_sql("SELECT current_schema()").scalar_one()))
    there = set(inspect(connection).get_table_names())
    mutable = {name for name in MUTABLE_TABLES if name in there}
    for role in (quoted(name) for name in (writer, *readers)):
        connection.exec_driver_sql(f"REVOKE ALL ON ALL TABLES IN SCHEMA {schema} FROM {role}")
        connection.exec_driver_sql(f"GRANT USAGE ON SCHEMA {schema} TO {role}")
        connection.exec_driver_sql(f"GRANT SELECT ON ALL TABLES IN SCHEMA {schema} TO {role}")
    for name in sorted(there - {"alembic_version"}):
        rights = "INSERT, UPDATE, DELETE" if name in mutable else "INSERT"
        connection.exec_driver_sql(f'GRANT {rights} ON "{name}" TO {quoted(writer)}')

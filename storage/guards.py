"""Triggers that refuse to change what was written, and the views; made anew after every migration."""

from collections.abc import Iterator, Mapping

from sqlalchemy import Connection, Table, UniqueConstraint

from storage.postgresql import guards as postgresql
from storage.schema import APPEND_ONLY, ledger

VIEWS = {
    "reading_current": (
        "SELECT reading.*, strftime('%Y-%m-%dT%H:%M:%S', reading.at_us / 1000000, 'unixepoch')"
        " || printf('.%06dZ', reading.at_us % 1000000) AS at_utc,"
        " taken.normal_text, taken.normal_unit, taken.note"
        " FROM reading LEFT JOIN taken ON taken.reading_number = reading.number"
        " WHERE NOT EXISTS (SELECT 1 FROM reading AS newer WHERE newer.reading_id = reading.reading_id"
        " AND newer.version > reading.version AND newer.version > 1)"
    ),
}
"""For people who open the file by hand: the newest version of each reading, with a time they can read."""


def _keys(table: Table) -> Iterator[str]:
    """Yield a condition for each unique key, true where a row with the key of the new one is there."""
    groups = [list(table.primary_key.columns)]
    groups += [list(one.columns) for one in table.constraints if isinstance(one, UniqueConstraint)]
    for columns in groups:
        yield " AND ".join(f'"{column.name}" = NEW."{column.name}"' for column in columns)
    for index in table.indexes:
        if index.unique:
            same = " AND ".join(f'"{column.name}" = NEW."{column.name}"' for column in index.columns)
            where = index.dialect_options["sqlite"]["where"]
            yield same if where is None else f"{same} AND {where}"


def _triggers(table: Table) -> Iterator[tuple[str, str]]:
    name = table.name
    refuse = f"SELECT RAISE(ABORT, '{name} is append-only: what was written is never changed')"
    for act in ("UPDATE", "DELETE"):
        yield f"guard_{name}_{act.lower()}", f'BEFORE {act} ON "{name}" BEGIN {refuse}; END'
    # INSERT OR REPLACE deletes the old row, without a delete trigger unless a pragma is set: refuse it here.
    exists = "EXISTS (SELECT 1 FROM"  # the names in these statements are those of our own schema
    taken = " OR ".join(f'{exists} "{name}" WHERE {key})' for key in sorted(_keys(table)))
    yield f"guard_{name}_insert", f'BEFORE INSERT ON "{name}" WHEN {taken} BEGIN {refuse}; END'


def make_guards(connection: Connection) -> None:
    """Make every trigger and view anew, in the transaction of the connection.

    Runs after each step, so a table that a later step brings may not be there yet.
    """
    if connection.dialect.name == "postgresql":
        postgresql.make_guards(connection)
        return
    for name, statement in _wanted(connection).items():
        connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {name}")
        connection.exec_driver_sql(statement)
    for name, query in VIEWS.items():
        connection.exec_driver_sql(f"DROP VIEW IF EXISTS {name}")
        connection.exec_driver_sql(f"CREATE VIEW {name} AS {query}")


def guard_faults(connection: Connection) -> list[str]:
    """Return what is wrong with the triggers of a store of the newest schema, one text each."""
    if connection.dialect.name == "postgresql":
        return _differences(*postgresql.wanted_and_found(connection))
    rows = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    return _differences(_wanted(connection), dict(map(tuple, rows)))


def _differences(wanted: Mapping[str, str], found: Mapping[str, str]) -> list[str]:
    """Return a text for each trigger that is missing, altered or none of ours."""
    missing = [f"trigger {name} is missing" for name in wanted if name not in found]
    altered = [
        f"trigger {name} was altered" for name in wanted if found.get(name, wanted[name]) != wanted[name]
    ]
    foreign = [f"trigger {name} is none of ours" for name in found if name not in wanted]
    return [*missing, *altered, *foreign]


def _wanted(connection: Connection) -> dict[str, str]:
    """Return every trigger that the tables there want, with the statement that makes it."""
    there = set(connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'").scalars())
    tables = (table for table in (ledger, *APPEND_ONLY) if table.name in there)
    return {name: f"CREATE TRIGGER {name} {body}" for table in tables for name, body in _triggers(table)}

"""The holes through which an append-only table could be changed, tried on every such table."""

from collections.abc import Iterator
from contextlib import closing
from typing import Any

import psycopg
import pytest
from sqlalchemy import Table
from sqlalchemy.exc import IntegrityError

from storage.connect import sqlite_module, writing_engine
from storage.schema import APPEND_ONLY, MUTABLE_TABLES, ledger
from tests.fakes.store_contents import Filled, stranger_at

REFUSED = (sqlite_module().IntegrityError, psycopg.IntegrityError)
EVERY_GUARDED = pytest.mark.parametrize("table", [ledger, *APPEND_ONLY], ids=lambda table: table.name)


@pytest.fixture
def stranger(filled: Filled) -> Iterator[Any]:
    """A client that sets none of our pragmas: what it does is rolled back."""
    with closing(filled.ground.stranger()) as connection:
        connection.execute("BEGIN")
        yield connection
        connection.rollback()


@pytest.fixture
def stranger_to_file(on_file: Filled) -> Iterator[Any]:
    """Such a client of a file, for statements that only SQLite knows."""
    with closing(stranger_at(on_file.path)) as connection:
        connection.execute("BEGIN")
        yield connection
        connection.rollback()


def first_row(connection: Any, table: Table) -> tuple[object, ...]:
    row: tuple[object, ...] = connection.execute(f"SELECT * FROM {table.name} ORDER BY 1 LIMIT 1").fetchone()
    return row


def insert_text(table: Table, verb: str = "INSERT") -> str:
    return f"{verb} INTO {table.name} VALUES ({', '.join('?' * len(table.columns))})"


@EVERY_GUARDED
def test_update_is_refused(stranger: Any, table: Table) -> None:
    with pytest.raises(REFUSED, match=f"{table.name} is append-only"):
        stranger.execute(f"UPDATE {table.name} SET number = number + 1000000")


@EVERY_GUARDED
def test_delete_is_refused(stranger: Any, table: Table) -> None:
    with pytest.raises(REFUSED, match=f"{table.name} is append-only"):
        stranger.execute(f"DELETE FROM {table.name}")


@EVERY_GUARDED
@pytest.mark.parametrize("verb", ["INSERT OR REPLACE", "REPLACE", "INSERT OR IGNORE"])
def test_replacing_a_row_is_refused(stranger_to_file: Any, table: Table, verb: str) -> None:
    row = first_row(stranger_to_file, table)
    with pytest.raises(REFUSED, match=f"{table.name} is append-only"):
        stranger_to_file.execute(insert_text(table, verb), row)


@EVERY_GUARDED
def test_upsert_is_refused(stranger: Any, table: Table) -> None:
    key = ", ".join(table.primary_key.columns.keys())
    statement = f"{insert_text(table)} ON CONFLICT ({key}) DO UPDATE SET number = excluded.number"
    with pytest.raises(REFUSED, match=f"{table.name} is append-only"):
        stranger.execute(statement, first_row(stranger, table))


@pytest.mark.parametrize("name", ["session_end", "capture_end", "driver", "taken"])
def test_replacing_by_another_unique_key_is_refused(stranger_to_file: Any, name: str) -> None:
    table = ledger.metadata.tables[name]
    row = (10_000, *first_row(stranger_to_file, table)[1:])
    with pytest.raises(REFUSED, match=f"{name} is append-only"):
        stranger_to_file.execute(insert_text(table, "INSERT OR REPLACE"), row)


def test_replacing_a_later_version_of_a_reading_is_refused(stranger_to_file: Any) -> None:
    table = ledger.metadata.tables["reading"]
    row = stranger_to_file.execute("SELECT * FROM reading WHERE version = 2").fetchone()
    with pytest.raises(REFUSED, match="reading is append-only"):
        stranger_to_file.execute(insert_text(table, "INSERT OR REPLACE"), (10_000, *row[1:]))


@EVERY_GUARDED
def test_the_writer_s_own_connection_is_guarded_too(filled: Filled, table: Table) -> None:
    engine = filled.ground.engine()
    with engine.connect() as connection, pytest.raises(IntegrityError, match=f"{table.name} is append-only"):
        connection.exec_driver_sql(f"DELETE FROM {table.name}")
    engine.dispose()


@EVERY_GUARDED
def test_the_writer_of_a_file_cannot_replace_a_row_either(on_file: Filled, table: Table) -> None:
    engine = writing_engine(on_file.path)
    with engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        row = driver.execute(f"SELECT * FROM {table.name} ORDER BY 1 LIMIT 1").fetchone()
        with pytest.raises(REFUSED, match="append-only"):
            driver.execute(insert_text(table, "INSERT OR REPLACE"), row)
    engine.dispose()


@pytest.mark.parametrize("name", MUTABLE_TABLES)
def test_the_tables_of_the_written_list_may_change(stranger: Any, name: str) -> None:
    assert stranger.execute(f"DELETE FROM {name}").rowcount >= 0


def test_every_append_only_table_was_filled_for_these_tests(stranger: Any) -> None:
    assert all(first_row(stranger, table) for table in (ledger, *APPEND_ONLY))

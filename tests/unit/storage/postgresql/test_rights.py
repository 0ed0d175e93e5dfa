"""Three roles: one owns the tables, the daemon adds rows, others look."""

import itertools
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import psycopg
import pytest

from storage.errors import MigrationError, StoreBusyError
from storage.migrate import migrate
from storage.place import place_of
from storage.schema import APPEND_ONLY, MUTABLE_TABLES, ledger
from storage.store import Store, open_store
from tests.fakes.filled_store import NOON_US
from tests.fakes.store_contents import fill_every_table
from tests.services.postgresql import PostgreSQL

pytestmark = pytest.mark.needs("postgresql")

OWNER, DAEMON, LAB = "cellar_owner", "cellar_daemon", "cellar_lab"
GUARDED = [table.name for table in (ledger, *APPEND_ONLY)]
CHANGES = ("UPDATE {} SET number = number", "DELETE FROM {}", "TRUNCATE {} CASCADE")


@dataclass
class Cellar:
    """A database whose tables belong to a role of their own."""

    server: PostgreSQL
    database: str

    def address(self, role: str) -> str:
        return self.server.url(self.database, role)

    def open(self, role: str = DAEMON) -> Store:
        return open_store(self.address(role), kind="real", clock_us=lambda: NOON_US)

    def connect(self, role: str) -> Any:
        return self.server.connect(self.database, role)


@pytest.fixture(scope="module")
def cellar(postgresql: PostgreSQL) -> Iterator[Cellar]:
    database = postgresql.new_database()
    with postgresql.connect() as connection:
        for role in (OWNER, DAEMON, LAB):
            connection.execute(f"CREATE ROLE {role} LOGIN")
        connection.execute(f"ALTER DATABASE {database} OWNER TO {OWNER}")
    cellar = Cellar(postgresql, database)
    migrate(cellar.address(OWNER), writer=DAEMON, readers=(LAB,))
    with closing(cellar.open()) as store:
        fill_every_table(store)
    yield cellar
    postgresql.drop(database)


def test_the_daemon_s_role_keeps_a_store(cellar: Cellar) -> None:
    with closing(cellar.open()) as store:
        store.begin_session("0.1.0", "in step", NOON_US)
        assert store.writer.health().ok


@pytest.mark.parametrize("role", [DAEMON, LAB])
def test_nobody_but_the_owner_has_a_right_to_change_what_was_written(cellar: Cellar, role: str) -> None:
    with cellar.connect(role) as connection:
        for table, act in itertools.product(GUARDED, CHANGES):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                connection.execute(act.format(table))


def test_the_owner_has_no_right_to_delete_either(cellar: Cellar) -> None:
    with cellar.connect(OWNER) as connection:
        for table, act in itertools.product(GUARDED, CHANGES[1:]):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                connection.execute(act.format(table))


@pytest.mark.parametrize("part", ["origin", "replica"])
def test_triggers_stop_even_those_who_may_do_everything(cellar: Cellar, part: str) -> None:
    with cellar.server.connect(cellar.database) as connection:
        connection.execute(f"SET session_replication_role = {part}")
        for table, act in itertools.product(GUARDED, CHANGES):
            with pytest.raises(psycopg.IntegrityError, match="is append-only: what was written"):
                connection.execute(act.format(table))


def test_a_role_that_may_look_can_look_and_not_add(cellar: Cellar) -> None:
    with cellar.connect(LAB) as connection:
        for table in GUARDED:
            assert connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                connection.execute(f"INSERT INTO {table} SELECT * FROM {table} LIMIT 0")


@pytest.mark.parametrize("name", MUTABLE_TABLES)
def test_the_tables_of_the_written_list_may_be_changed_by_the_daemon_alone(cellar: Cellar, name: str) -> None:
    with cellar.connect(DAEMON) as connection:
        connection.execute(f"DELETE FROM {name} WHERE false")
    with cellar.connect(LAB) as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute(f"DELETE FROM {name} WHERE false")


def test_the_daemon_s_role_can_take_no_guard_away(cellar: Cellar) -> None:
    for act in ("DROP TRIGGER guard_reading_update ON reading", "ALTER TABLE reading DISABLE TRIGGER ALL"):
        with cellar.connect(DAEMON) as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
            connection.execute(act)


def test_migrating_again_changes_nothing(cellar: Cellar) -> None:
    migrate(cellar.address(OWNER), writer=DAEMON, readers=(LAB,))
    with closing(cellar.open()) as store:
        assert store.writer.health().ok


def test_refuses_to_migrate_while_a_daemon_holds_the_store(cellar: Cellar) -> None:
    with closing(cellar.open()), pytest.raises(StoreBusyError):
        migrate(cellar.address(OWNER))


def test_a_role_that_is_not_there_is_named(cellar: Cellar) -> None:
    with pytest.raises(MigrationError, match='role "nobody_here" does not exist'):
        migrate(cellar.address(OWNER), writer="nobody_here")


def test_the_owner_cannot_lose_its_own_rights(cellar: Cellar) -> None:
    with pytest.raises(MigrationError, match="owns the tables and keeps its rights"):
        migrate(cellar.address(OWNER), writer=OWNER)


def test_a_file_has_no_roles(tmp_path: Any) -> None:
    with pytest.raises(MigrationError, match="is a file, in which there are no roles"):
        migrate(tmp_path / "cellar.db", writer=DAEMON)


def test_a_file_is_migrated_too(tmp_path: Any) -> None:
    place = place_of(tmp_path / "cellar.db")
    migrate(place)
    open_store(place, kind="real", clock_us=lambda: NOON_US).close()

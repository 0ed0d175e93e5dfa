"""The grounds on which the tests of a store stand: a file, and a database of a real server.

Both give the same things to a test, so that the same test runs on either.
"""

import shutil
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, make_url

from storage.connect import sqlite_module, writing_engine
from storage.place import place_of
from storage.postgresql import connect as postgresql
from storage.store import Store
from tests.services.postgresql import PostgreSQL

KINDS = ("sqlite", "postgresql")


class FileGround:
    """A file, which need not be there yet."""

    kind = "sqlite"

    def __init__(self, path: Path) -> None:
        self.path = path
        self._copies = count(2)

    @property
    def address(self) -> Path:
        """The path of the file."""
        return self.path

    def copy(self) -> "FileGround":
        """Return another file with a copy of the closed store in it."""
        path = self.path.with_name(f"{self.path.stem}-{next(self._copies)}.db")
        shutil.copy(self.path, path)
        return FileGround(path)

    def remove(self) -> None:
        """Leave it to the folder's end."""

    def stranger(self) -> Any:
        """Return a connection that sets none of our pragmas.

        It comes from the same library as the store's own: where two copies of SQLite are loaded, the locks of
        one process do not hold against each other.
        """
        return sqlite_module().connect(
            str(self.path), isolation_level=None, check_same_thread=False, timeout=0
        )

    def locked(self) -> Any:
        """Return a stranger's connection that holds the write lock."""
        connection = self.stranger()
        connection.execute("BEGIN IMMEDIATE")
        return connection

    @contextmanager
    def tampering(self) -> Iterator[Any]:
        """Give a stranger that has taken every guard away."""
        with closing(self.stranger()) as connection:
            connection.execute("PRAGMA ignore_check_constraints = ON")
            connection.execute("BEGIN")
            triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
            for (name,) in triggers:
                connection.execute(f"DROP TRIGGER {name}")
            yield connection
            connection.execute("COMMIT")

    def engine(self) -> Engine:
        """Return an engine for a writer that does not wait for a lock."""
        return writing_engine(self.path, busy_timeout_ms=0)


class Stranger:
    """A client of a server that speaks as the one of a file does."""

    def __init__(self, connection: Any) -> None:
        self._connection = connection

    def execute(self, statement: str, parameters: tuple[object, ...] = ()) -> Any:
        """Run one statement."""
        return self._connection.execute(statement.replace("?", "%s"), parameters or None)

    def rollback(self) -> None:
        """Undo what was done since ``BEGIN``."""
        self._connection.rollback()

    def close(self) -> None:
        """Go away."""
        self._connection.close()


class ServerGround:
    """A database, which may be empty yet."""

    kind = "postgresql"

    def __init__(self, server: PostgreSQL, database: str) -> None:
        self.server = server
        self.database = database

    @property
    def address(self) -> str:
        """The URL of the database."""
        return self.server.url(self.database)

    def copy(self) -> "ServerGround":
        """Return another database with a copy of the closed store in it."""
        return ServerGround(self.server, self.server.new_database(self.database))

    def remove(self) -> None:
        """Drop the database."""
        self.server.drop(self.database)

    def stranger(self) -> Stranger:
        """Return a connection that does not know of us."""
        return Stranger(self.server.connect(self.database))

    def locked(self) -> Stranger:
        """Return a stranger's connection that holds a lock on the ledger."""
        connection = self.stranger()
        connection.execute("BEGIN")
        connection.execute("LOCK TABLE ledger IN EXCLUSIVE MODE")
        return connection

    @contextmanager
    def tampering(self) -> Iterator[Any]:
        """Give a stranger that has taken every guard away."""
        with closing(self.stranger()) as connection:
            connection.execute("BEGIN")
            for (name,) in connection.execute(_TABLES_SQL).fetchall():
                connection.execute(f'ALTER TABLE "{name}" DISABLE TRIGGER ALL')
            for name, check in connection.execute(_CHECKS_SQL).fetchall():
                connection.execute(f"ALTER TABLE {name} DROP CONSTRAINT {check}")
            yield connection
            connection.execute("COMMIT")

    def engine(self) -> Engine:
        """Return an engine for a writer that hardly waits for a lock."""
        return postgresql.writing_engine(make_url(self.address), lock_timeout_ms=20)


_TABLES_SQL = "SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace"
_CHECKS_SQL = (
    "SELECT conrelid::regclass, quote_ident(conname) FROM pg_constraint WHERE contype = 'c' AND conrelid <> 0"
)


Ground = FileGround | ServerGround
"""Where one store stands, or is to stand."""

NewGround = Callable[[], Ground]
"""Makes a ground on which nothing stands yet."""


NewStore = Callable[..., Store]
"""Opens a new store of a kind."""


def reading_engine_of(ground: Ground) -> Engine:
    """Return an engine that can do nothing but read."""
    return place_of(ground.address).reading_engine()

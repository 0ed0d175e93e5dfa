"""How a SQLite file is opened: one place for the driver, the pragmas and the begin of a transaction."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool, QueuePool

READERS: Final = 4  # two for the API, one for step 2, one spare
# connections; more threads make SQLite slower, they fight for the interpreter at each row
BUSY_TIMEOUT_MS: Final = 5_000
WRITER_BUSY_TIMEOUT_MS: Final = 1_000  # then the health page says it, and it is tried again
CACHE_KIB: Final = 16_000
CACHED_STATEMENTS: Final = 1024
"""Prepared statements a connection keeps. A driver may drop the newest when it is full: the migrations of a
new store filled the usual hundred, and what the writer says most was then prepared anew each time."""
CHECKPOINT_PAGES: Final = 4_000
"""When the log is copied into the file: the same pages of indexes are written at every commit, and are copied
once for all of them. 16 MiB of pages of 4 KiB. [pages]"""
JOURNAL_LIMIT_BYTES: Final = 64 * 1024 * 1024

RESET_BUG_FIRST: Final = (3, 7, 0)
RESET_BUG_FIXED: Final = (3, 51, 3)
RESET_BUG_BACKPORTS: Final = ((3, 44, 6), (3, 50, 7))  # fixed on their own branches too

_WRITER_PRAGMAS: Final = (
    "journal_mode=WAL",
    f"wal_autocheckpoint={CHECKPOINT_PAGES}",
    "synchronous=FULL",
    "foreign_keys=ON",
    f"cache_size=-{CACHE_KIB}",
    f"journal_size_limit={JOURNAL_LIMIT_BYTES}",
    "trusted_schema=OFF",
    "recursive_triggers=ON",
)
_READER_PRAGMAS: Final = ("query_only=ON", "trusted_schema=OFF")


def sqlite_module() -> Any:
    """Return the newest SQLite driver at hand: the optional wheel, else the standard library's."""
    try:
        from pysqlite3 import dbapi2
    except ImportError:
        return sqlite3
    return dbapi2


def sqlite_version() -> tuple[int, ...]:
    """Return the version of the SQLite in use."""
    version: tuple[int, ...] = sqlite_module().sqlite_version_info
    return version


def has_reset_bug(version: tuple[int, ...]) -> bool:
    """Tell whether a SQLite version can corrupt a store that two connections write at once."""
    if any(version[:2] == fixed[:2] and version >= fixed for fixed in RESET_BUG_BACKPORTS):
        return False
    return RESET_BUG_FIRST <= version < RESET_BUG_FIXED


def writing_engine(path: Path, *, busy_timeout_ms: int = WRITER_BUSY_TIMEOUT_MS) -> Engine:
    """Return an engine for the one writer: WAL, durable at COMMIT, every transaction immediate."""
    address = path.absolute().as_uri()
    engine = create_engine(
        "sqlite://",
        module=sqlite_module(),
        creator=_opener(address, busy_timeout_ms, _WRITER_PRAGMAS),
        poolclass=QueuePool,
        pool_size=1,
        max_overflow=0,
    )
    event.listen(engine, "begin", _begin_immediate)
    return engine


def reading_engine(path: Path) -> Engine:
    """Return an engine with a few connections that can do nothing but read."""
    address = path.absolute().as_uri() + "?mode=ro"
    engine = create_engine(
        "sqlite://",
        module=sqlite_module(),
        creator=_opener(address, BUSY_TIMEOUT_MS, _READER_PRAGMAS),
        poolclass=QueuePool,
        pool_size=READERS,
        max_overflow=0,
    )
    event.listen(engine, "begin", _begin)
    return engine


def copying_engine(path: Path) -> Engine:
    """Return an engine that reads `path` and may write a copy of it elsewhere."""
    address = path.absolute().as_uri() + "?mode=ro"
    return create_engine(
        "sqlite://",
        module=sqlite_module(),
        creator=_opener(address, BUSY_TIMEOUT_MS, ("trusted_schema=OFF",)),
        poolclass=NullPool,
    )


def _opener(address: str, busy_timeout_ms: int, pragmas: tuple[str, ...]) -> Callable[[], Any]:
    module = sqlite_module()

    def connect() -> Any:
        # The driver must begin no transaction by itself: a failed migration would leave half a schema.
        connection = module.connect(
            address,
            uri=True,
            isolation_level=None,
            check_same_thread=False,
            timeout=busy_timeout_ms / 1000,
            cached_statements=CACHED_STATEMENTS,
        )
        try:
            with closing(connection.cursor()) as cursor:
                for pragma in pragmas:
                    cursor.execute(f"PRAGMA {pragma}")
        except module.Error:
            connection.close()
            raise
        return connection

    return connect


def _begin_immediate(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")

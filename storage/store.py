"""The embedded store: one file, one ledger, one writer, many readers."""

import platform
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import structlog
from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import DatabaseError, OperationalError

from storage import schema_version
from storage.backup import backup, head_of
from storage.ballast import Ballast
from storage.connect import has_reset_bug, reading_engine, sqlite_module, sqlite_version, writing_engine
from storage.errors import KindMismatchError, NotAStoreError, StoreAddressError, StoreUnreachableError
from storage.inserts import InsertTexts
from storage.ledger import ActorKind, Head, genesis
from storage.lock import StoreLock
from storage.queries import head, info
from storage.recovery import close_what_was_left_open
from storage.rows import SessionEndRow, SessionRow, StoreInfoRow
from storage.schema import store_info
from storage.spool import DEFAULT_LIMIT_BYTES
from storage.transaction import Transaction
from storage.writer import Writer

DAEMON: Final = "tundish"
"""The actor of what the store does by itself."""


def store_path(address: str | Path) -> Path:
    """Return the file that an address names. Raises `StoreAddressError` if it names another kind of store."""
    if isinstance(address, Path):
        return address
    scheme, divider, rest = address.partition("://")
    if not divider:
        return Path(address)
    if scheme == "sqlite" and rest.startswith("/"):
        return Path(rest[1:])
    raise StoreAddressError(f"{address!r} names no store; wanted a file name or sqlite:///FILE")


class Store:
    """An open store. The daemon that holds it is the only one that writes it."""

    def __init__(self, path: Path, lock: StoreLock, engine: Engine, writer: Writer) -> None:
        self.path = path
        self.writer = writer
        self._lock = lock
        self._engine = engine
        self._readers = reading_engine(path)
        self._session: int | None = None
        with self.reader() as connection:
            self.info = info(connection)

    @contextmanager
    def reader(self) -> Iterator[Connection]:
        """Give a connection that cannot write, in one short transaction."""
        with self._readers.begin() as connection:
            yield connection

    def begin_session(self, software_version: str, host_clock: str, at_us: int) -> int:
        """Enter that a daemon begins, and return the session's number."""
        row = SessionRow(software_version, platform.python_version(), engine_version(), host_clock, at_us)
        self._session = self._enter("session.begun", at_us, session=row)
        return self._session

    def end_session(self, at_us: int) -> None:
        """Enter that the daemon ends cleanly."""
        if self._session is not None:
            self._enter("session.ended", at_us, session_end=SessionEndRow(self._session, at_us, "clean"))
            self._session = None

    def _enter(self, action: str, at_us: int, **row: SessionRow | SessionEndRow) -> int:
        rows = {table: [one] for table, one in row.items()}
        work = self.writer.submit(
            lambda tx: tx.enter(action, at_us=at_us, actor=DAEMON, actor_kind=ActorKind.DAEMON, rows=rows)
        )
        return work.result()

    def close(self) -> None:
        """Write what waits, then let go of the file."""
        self.writer.close()
        self._readers.dispose()
        self._engine.dispose()
        self._lock.release()


def engine_version() -> str:
    """Return the version of the database engine."""
    return f"SQLite {sqlite_module().sqlite_version}"


def open_store(
    address: str | Path,
    *,
    kind: str,
    clock_us: Callable[[], int],
    spool_limit_bytes: int = DEFAULT_LIMIT_BYTES,
    pause: Callable[[float], object] | None = None,
) -> Store:
    """Open a store, or make it; bring it up to date; close what a dead daemon left open.

    Parameters
    ----------
    address : str or Path
        A file name, or ``sqlite:///FILE``. Its folder must be there.
    kind : str
        real, demo or practice; a store of another kind is refused.
    clock_us : callable
        The host's clock. [µs since 1970 UTC]
    spool_limit_bytes : int
        What may wait while the store cannot be written. [bytes]
    pause : callable, optional
        Waits between two tries while the store cannot be written. [s]

    Raises
    ------
    StorageError
        One of its kinds, in one line that says what is wrong, where, and what to do.
    """
    path = store_path(address).absolute()
    if not path.parent.is_dir():
        raise StoreUnreachableError(path, "its folder is not there")
    lock = StoreLock(path)
    try:
        engine = writing_engine(path)
        try:
            _bring_up_to_date(engine, path)
            chain = _first_entry_and_kind(engine, path, kind, clock_us())
            with engine.begin() as connection:
                chain = close_what_was_left_open(connection, chain, clock_us())
        except OperationalError as error:
            raise StoreUnreachableError(path, str(error.orig)) from error
        except DatabaseError as error:
            raise NotAStoreError(path, str(error.orig)) from error
    except BaseException:
        lock.release()
        raise
    _warn_of_reset_fault()
    ballast = Ballast(path)
    ballast.load()
    writer = Writer(
        engine,
        chain,
        clock_us=clock_us,
        limit_bytes=spool_limit_bytes,
        pause=pause,
        on_full=ballast.drop,
    )
    writer.subscribe(lambda _head: ballast.load())  # taken again once the disk has room
    writer.start()
    return Store(path, lock, engine, writer)


def _bring_up_to_date(engine: Engine, path: Path, steps: Path = schema_version.MIGRATIONS) -> None:
    with engine.begin() as connection:
        version = schema_version.check(connection, path, steps)
    newest = schema_version.newest(steps)
    if version == newest:
        return
    if version is not None:
        copy = path.with_name(f"{path.name}.before-{newest}")
        if copy.exists():  # an earlier try of this step failed
            copy.replace(copy.with_name(f"{copy.name}.older"))
        backup(path, copy)
    with engine.connect() as connection:
        schema_version.upgrade(connection, steps)


def _first_entry_and_kind(engine: Engine, path: Path, kind: str, at_us: int) -> Head:
    """Return the head of the chain; of a new store, after its first entry."""
    with engine.begin() as connection:
        if not head(connection):
            return _enter_store_info(connection, kind, at_us)
        held = connection.execute(select(store_info.c.kind)).scalar_one()
        if held != kind:
            raise KindMismatchError(path, held, kind)
        return head_of(connection)


def _enter_store_info(connection: Connection, kind: str, at_us: int) -> Head:
    store_id = str(uuid.uuid4())
    tx = Transaction(connection, genesis(store_id), InsertTexts())
    row = StoreInfoRow(store_id, kind, at_us, "")
    tx.enter("store.made", at_us=at_us, actor=DAEMON, actor_kind=ActorKind.DAEMON, rows={"store_info": [row]})
    tx.flush()
    return tx.head


def _warn_of_reset_fault() -> None:
    if has_reset_bug(sqlite_version()):
        structlog.get_logger().warning(
            "store.old_sqlite",
            version=sqlite_module().sqlite_version,
            advice="install the extra 'sqlite' for a newer one; let nothing else write the store",
        )

"""The store: one place, one ledger, one writer, many readers."""

import platform
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import DatabaseError, InterfaceError, OperationalError

from storage import schema_version
from storage.backup import head_of
from storage.errors import KindMismatchError, NotAStoreError, StoreUnreachableError
from storage.ledger import ActorKind, Head, genesis
from storage.mending import with_guards
from storage.place import Claim, Place, place_of
from storage.queries import head, info
from storage.recovery import close_what_was_left_open
from storage.rows import SessionEndRow, SessionRow, StoreInfoRow
from storage.schema import store_info
from storage.spool import DEFAULT_LIMIT_BYTES
from storage.transaction import Statements, Transaction
from storage.trouble import in_words, is_environment, is_no_database
from storage.unfinished import refuse_unfinished
from storage.writer import Writer

DAEMON: Final = "tundish"
"""The actor of what the store does by itself."""


class Store:
    """An open store. The daemon that holds it is the only one that writes it."""

    def __init__(self, place: Place, claim: Claim, engine: Engine, writer: Writer) -> None:
        self.place = place
        self.writer = writer
        self._claim = claim
        self._engine = engine
        self._readers = place.reading_engine()
        self._session: int | None = None
        with self.reader() as connection:
            self.info = info(connection)
            self.engine_version = place.engine_version(connection)

    @contextmanager
    def reader(self) -> Iterator[Connection]:
        """Give a connection that cannot write, in one short transaction."""
        with self._readers.begin() as connection:
            yield connection

    def begin_session(self, software_version: str, host_clock: str, at_us: int) -> int:
        """Enter that a daemon begins, and return the session's number."""
        row = SessionRow(software_version, platform.python_version(), self.engine_version, host_clock, at_us)
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
        """Write what waits, then let go of the store."""
        self.writer.close()
        self._readers.dispose()
        self._engine.dispose()
        self._claim.release()


def open_store(
    address: str | Path | Place,
    *,
    kind: str,
    clock_us: Callable[[], int],
    spool_limit_bytes: int = DEFAULT_LIMIT_BYTES,
    pause: Callable[[float], object] | None = None,
) -> Store:
    """Open a store, or make it; bring it up to date; close what a dead daemon left open.

    Parameters
    ----------
    address : str, Path or Place
        A file name or ``sqlite:///FILE``, whose folder must be there, or ``postgresql://…``.
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
    place = place_of(address)
    claim = place.claim()
    engine = place.writing_engine()
    try:
        chain = _ready(engine, place, kind, clock_us)
    except BaseException:
        engine.dispose()
        claim.release()
        raise
    place.warn()
    reserve = place.reserve()
    reserve.load()
    writer = Writer(
        engine,
        chain,
        clock_us=clock_us,
        limit_bytes=spool_limit_bytes,
        pause=pause,
        on_full=reserve.drop,
        statements=place.statements(),
    )
    writer.subscribe(lambda _head: reserve.load())  # taken again once the disk has room
    writer.start()
    return Store(place, claim, engine, writer)


def _ready(engine: Engine, place: Place, kind: str, clock_us: Callable[[], int]) -> Head:
    """Bring a store into the state in which a daemon can begin; return the head of its chain."""
    try:
        bring_up_to_date(engine, place)
        chain = _first_entry_and_kind(engine, place, kind, clock_us())
        chain = with_guards(engine, chain, clock_us(), place.statements())
        with engine.begin() as connection:
            return close_what_was_left_open(connection, chain, clock_us(), place.statements())
    except (OperationalError, InterfaceError) as error:
        raise StoreUnreachableError(str(place), in_words(error), place.advice) from error
    except DatabaseError as error:
        if is_environment(error) and not is_no_database(error):
            raise StoreUnreachableError(str(place), in_words(error), place.advice) from error
        raise NotAStoreError(str(place), in_words(error)) from error


def bring_up_to_date(engine: Engine, place: Place, steps: Path = schema_version.MIGRATIONS) -> None:
    """Take every step of the schema that is wanting.

    Raises
    ------
    MigrationError, NewerStoreError, NotAStoreError
        If that cannot be done here.
    """
    with engine.begin() as connection:
        version = schema_version.check(connection, str(place), steps)
    newest = schema_version.newest(steps)
    if version == newest:
        return
    place.before_step(engine, newest, is_new=version is None)
    with engine.connect() as connection:
        schema_version.upgrade(connection, steps)


def _first_entry_and_kind(engine: Engine, place: Place, kind: str, at_us: int) -> Head:
    """Return the head of the chain; of a new store, after its first entry."""
    with engine.begin() as connection:
        refuse_unfinished(connection, str(place))
        if not head(connection):
            return _enter_store_info(connection, place.statements(), kind, at_us)
        held = connection.execute(select(store_info.c.kind)).scalar_one()
        if held != kind:
            raise KindMismatchError(str(place), held, kind)
        return head_of(connection)


def _enter_store_info(connection: Connection, statements: Statements, kind: str, at_us: int) -> Head:
    store_id = str(uuid.uuid4())
    tx = Transaction(connection, genesis(store_id), statements)
    row = StoreInfoRow(store_id, kind, at_us, "")
    tx.enter("store.made", at_us=at_us, actor=DAEMON, actor_kind=ActorKind.DAEMON, rows={"store_info": [row]})
    tx.flush()
    return tx.head

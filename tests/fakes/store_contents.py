"""A store in which every append-only table holds something, and ways to tamper with its file."""

import shutil
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select

from storage.connect import sqlite_module
from storage.ledger import ActorKind, Head
from storage.rows import BackupRow, ClockEventRow, FaultRow, LineActRow, ReadingRow, Row
from storage.schema import reading
from storage.schema import session as session_table
from storage.store import Store, open_store
from storage.transaction import Transaction
from tests.fakes.bench_contents import fill_bench_tables
from tests.fakes.filled_store import NOON_US, SECOND_US, Filler, fill_bench


def open_at_noon(path: Path, kind: str = "real") -> Store:
    return open_store(path, kind=kind, clock_us=lambda: NOON_US)


def enter(tx: Transaction, action: str, rows: dict[str, list[Row]], at_us: int = NOON_US) -> int:
    return tx.enter(action, at_us=at_us, actor="tundish", actor_kind=ActorKind.DAEMON, rows=rows)


def fill_every_table(store: Store) -> dict[str, int]:
    """Write a short afternoon, a fault, an amended reading and a clean end; return the ids of readings."""
    ids = fill_bench(Filler(store), streamed=2)
    store.writer.submit(lambda tx: enter(tx, "fault.found", {"fault": [_a_fault()]})).result(10)
    store.writer.submit(lambda tx: _amend(tx, ids["W-1007"])).result(10)
    fill_bench_tables(store)
    store.writer.submit(_run_the_daemon).result(10)
    store.end_session(NOON_US + SECOND_US)
    return ids


def _a_fault() -> Row:
    return FaultRow(None, "ph", "driver", "ValueError: no such part")


def _run_the_daemon(tx: Transaction) -> None:
    """Enter an act on a line, a step of the clock and a copy."""
    session = tx.connection.execute(select(session_table.c.number)).scalar_one()
    enter(tx, "line.stopped", {"line_act": [LineActRow(0, "ph", "stopped", "{}")]})
    stepped = ClockEventRow(session, "stepped", "not_in_step", "no time service", None, -3_600_000_000)
    enter(tx, "clock.stepped", {"clock_event": [stepped]})
    copy = BackupRow("cellar-1.db", NOON_US, tx.head.number, tx.head.link, 4096)
    enter(tx, "backup.made", {"backup": [copy]})


def _amend(tx: Transaction, reading_id: int) -> int:
    """Enter a second version of a reading."""
    query = select(reading).where(reading.c.number == reading_id)
    first = ReadingRow(*tx.connection.execute(query).one()[1:])
    second = first._replace(version=2, value_text="28.50", value_numeral="28.50", value=28.5)
    return enter(tx, "reading.poured", {"reading": [second]})


@dataclass(frozen=True)
class Filled:
    """A closed store, the head of its chain, and the ids of some of its readings by name."""

    path: Path
    head: Head
    ids: dict[str, int]

    def copy_to(self, path: Path) -> Path:
        shutil.copy(self.path, path)
        return path


def fill_file(path: Path) -> Filled:
    """Make a store with something in every table, and close it."""
    store = open_at_noon(path)
    ids = fill_every_table(store)
    store.close()
    return Filled(path, store.writer.head, ids)


def stranger_at(path: Path) -> Any:
    """Return a connection that sets none of our pragmas.

    It comes from the same library as the store's own: where two copies of SQLite are loaded, the locks of one
    process do not hold against each other.
    """
    return sqlite_module().connect(str(path), isolation_level=None, check_same_thread=False, timeout=0)


@contextmanager
def tampering(path: Path) -> Iterator[Any]:
    """Give a connection to somebody with the file and a purpose: no guards, no foreign keys, no checks."""
    with closing(stranger_at(path)) as connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        connection.execute("BEGIN")
        triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        yield connection
        connection.execute("COMMIT")

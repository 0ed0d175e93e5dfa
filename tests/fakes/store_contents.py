"""A store in which every append-only table holds something, and ways to tamper with its file."""

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select

from storage.ledger import ActorKind, Head
from storage.place import Place
from storage.rows import BackupRow, ClockEventRow, FarPartRow, FaultRow, LineActRow, ReadingRow, Row
from storage.schema import reading
from storage.schema import session as session_table
from storage.store import Store, open_store
from storage.transaction import Transaction
from storage.verify import Progress, Verdict, verify
from tests.fakes.bench_contents import fill_bench_tables
from tests.fakes.filled_store import NOON_US, SECOND_US, Filler, fill_bench
from tests.services.grounds import FileGround, Ground, reading_engine_of


def open_at_noon(at: Ground | Place | Path, kind: str = "real") -> Store:
    address = at.address if isinstance(at, Ground) else at
    return open_store(address, kind=kind, clock_us=lambda: NOON_US)


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
    enter(tx, "capture.opened", {"far_part": [FarPartRow("north", "far-1", "ph", 10, 0, 0)]})


def _amend(tx: Transaction, reading_id: int) -> int:
    """Enter a second version of a reading."""
    query = select(reading).where(reading.c.number == reading_id)
    first = ReadingRow(*tx.connection.execute(query).one()[1:])
    second = first._replace(version=2, value_text="28.50", value_numeral="28.50", value=28.5)
    return enter(tx, "reading.poured", {"reading": [second]})


@dataclass(frozen=True)
class Filled:
    """A closed store, the head of its chain, and the ids of some of its readings by name."""

    ground: Ground
    head: Head
    ids: dict[str, int]

    @property
    def path(self) -> Path:
        """The file, for tests of files alone."""
        assert isinstance(self.ground, FileGround)
        return self.ground.path

    def copy_to(self, path: Path) -> Path:
        """Copy the file."""
        shutil.copy(self.path, path)
        return path


def fill(ground: Ground) -> Filled:
    """Make a store with something in every table, and close it."""
    store = open_at_noon(ground)
    ids = fill_every_table(store)
    store.close()
    return Filled(ground, store.writer.head, ids)


def fill_file(path: Path) -> Filled:
    """Make such a store in a file."""
    return fill(FileGround(path))


def verdict(
    ground: Ground, expected: Head | None = None, progress: Progress = lambda _done, _all: None
) -> Verdict:
    """Walk the ledger of a store."""
    engine = reading_engine_of(ground)
    with engine.begin() as connection:
        found = verify(connection, expected=expected, progress=progress)
    engine.dispose()
    return found


def stranger_at(path: Path) -> Any:
    """Return a connection of somebody else to a file."""
    return FileGround(path).stranger()


def tampering(path: Path) -> Any:
    """Give a connection to somebody with the file and a purpose."""
    return FileGround(path).tampering()

"""A writer on a file of its own, with a pause that a test holds in its hand."""

import threading
from collections.abc import Callable
from typing import Any

from sqlalchemy import Engine

from storage.ledger import Head
from storage.postgresql.statements import CopyTexts
from storage.rows import FaultRow
from storage.transaction import Transaction, last_entry
from storage.writer import Writer
from tests.fakes.store_contents import enter
from tests.services.grounds import Ground

PATIENCE_S = 10  # a test that waits longer than this has failed


class HeldPause:
    """Stands in for waiting between two tries: goes on when the test says so; knows how long was asked."""

    def __init__(self) -> None:
        self.asked_s: list[float] = []
        self.reached = threading.Event()
        self._go_on = threading.Event()

    def __call__(self, pause_s: float) -> None:
        self.asked_s.append(pause_s)
        self.reached.set()
        assert self._go_on.wait(PATIENCE_S)

    def go_on(self) -> None:
        """Let this and every later pause end at once."""
        self._go_on.set()


class SomeDisk(Exception):  # noqa: N818 - it stands for a database driver's error
    """What a database driver raises, with a result code."""

    def __init__(self, code: int) -> None:
        super().__init__("disk trouble")
        self.sqlite_errorcode = code


def new_engine(ground: Ground) -> tuple[Engine, Head]:
    """Return an engine on a closed store that hardly waits for locks, and the head of its chain."""
    engine = ground.engine()
    with engine.connect() as connection:
        head = last_entry(connection)
    assert head is not None
    return engine, head


def fault(text: str) -> Callable[[Transaction], int]:
    """Return work that enters one row that can be found again by its text."""
    return lambda tx: enter(tx, "fault.found", {"fault": [FaultRow(None, None, "line", text)]})


def texts(engine: Engine) -> list[str]:
    """Return the texts of all such rows, in ledger order."""
    with engine.connect() as connection:
        return list(connection.exec_driver_sql("SELECT text FROM fault ORDER BY number").scalars())


def writer_on(engine: Engine, head: Head, **more: Any) -> Writer:
    """Return a writer that speaks to whatever stands behind an engine."""
    statements = CopyTexts() if engine.dialect.name == "postgresql" else None
    return Writer(engine, head, clock_us=lambda: 77, statements=statements, **more)


def running(engine: Engine, head: Head, pause: Callable[[float], object], limit_bytes: int = 2**20) -> Writer:
    """Return a writer that has begun."""
    writer = writer_on(engine, head, pause=pause, limit_bytes=limit_bytes)
    writer.start()
    return writer

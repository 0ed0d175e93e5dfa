"""The one writer of a store: a thread that commits everything that waits in one group.

Acknowledged means that COMMIT has returned. A piece of work that cannot be written fails alone. While the
store as a whole cannot be written (locked, full, disk trouble), the group is kept and tried again, and what
comes after it waits in the spool.
"""

import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final, NamedTuple, TypeVar

import structlog
from sqlalchemy import Connection, Engine

from storage.errors import StoreMovedOnError, WriterClosedError
from storage.inserts import InsertTexts
from storage.ledger import Head
from storage.spool import DEFAULT_LIMIT_BYTES, Spool
from storage.transaction import Statements, Transaction, last_entry
from storage.trouble import in_words, is_disk_full, is_environment, is_lock

T = TypeVar("T")

GROUP: Final = 1000
"""Most pieces of work in one commit: bounds how long the newest rows stay unseen."""
BREATH_S: Final = 0.012
"""Pause after a commit, in which more comes together for the next: many small commits cost most of a core.
What comes after a quiet moment is written at once. [s]"""
FIRST_RETRY_S: Final = 0.05
LAST_RETRY_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class WriterHealth:
    """How the writer is doing."""

    ok: bool = True
    why: str = ""
    """Plain words; empty while all is well."""
    failing_since_us: int | None = None
    commits: int = 0
    rows: int = 0
    last_commit_s: float = 0.0
    spool_items: int = 0
    spool_bytes: int = 0
    spool_limit_bytes: int = 0


Answered = Callable[[Any, Exception | None], object]
"""Takes what a work answered, or why it was not kept. Called in the writer's thread; must be quick."""


class _Item(NamedTuple):
    """Work, and whom to tell."""

    work: Callable[[Transaction], Any]
    answered: Answered


@dataclass(frozen=True, slots=True)
class _Failed:
    """The outcome of work that raised, or whose rows the store refused."""

    error: Exception


@dataclass(frozen=True, slots=True)
class _InDoubt:
    """A group whose COMMIT began: if it raised, only the store can tell whether it took hold."""

    tx: Transaction
    answers: list[Any]


class Writer:
    """Owns the only connection that writes."""

    def __init__(
        self,
        engine: Engine,
        head: Head,
        *,
        clock_us: Callable[[], int],
        limit_bytes: int = DEFAULT_LIMIT_BYTES,
        pause: Callable[[float], object] | None = None,
        on_full: Callable[[], object] | None = None,
        statements: Statements | None = None,
    ) -> None:
        self._engine = engine
        self._head = head
        self._clock_us = clock_us
        self._spool: Spool[_Item] = Spool(limit_bytes)
        self._hurry = threading.Event()
        self._breathe = threading.Event()
        self._pause = pause or self._hurry.wait
        self._on_full = on_full
        self._statements = statements or InsertTexts()
        self._health = WriterHealth()
        self._listeners: tuple[Callable[[int], object], ...] = ()
        self._log = structlog.get_logger()
        self._gave_up = False
        self._in_doubt: _InDoubt | None = None
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)

    @property
    def head(self) -> Head:
        """The chain as it was last committed."""
        return self._head

    def health(self) -> WriterHealth:
        """Return how the writer is doing at this moment."""
        spool = self._spool.state()
        return replace(
            self._health,
            spool_items=spool.items,
            spool_bytes=spool.held_bytes,
            spool_limit_bytes=spool.limit_bytes,
        )

    def subscribe(self, listener: Callable[[int], object]) -> Callable[[], None]:
        """Call a listener with the new head number after each commit, in the writer's thread.

        Returns
        -------
        callable
            Ends the subscription.
        """
        self._listeners = (*self._listeners, listener)

        def unsubscribe() -> None:
            self._listeners = tuple(other for other in self._listeners if other is not listener)

        return unsubscribe

    def start(self) -> None:
        """Begin to write."""
        self._thread.start()

    def submit(self, work: Callable[[Transaction], T], *, size_bytes: int = 256) -> "Future[T]":
        """Queue work and return its future, which is done once the work is durable.

        Parameters
        ----------
        work : callable
            Runs in the writer's thread, perhaps more than once; only what its last run entered is kept. It
            runs even if nobody waits any more: the future cannot be cancelled.
        size_bytes : int
            What it holds in memory while it waits. [bytes]

        Raises
        ------
        SpoolFullError, WriterClosedError
            If it was not queued.
        """
        future: Future[T] = Future()
        future.set_running_or_notify_cancel()
        self.post(work, partial(_settle_future, future), size_bytes=size_bytes)
        return future

    def post(self, work: Callable[[Transaction], Any], answered: Answered, *, size_bytes: int = 256) -> None:
        """Queue work as :meth:`submit` does, and have its answer told without a future.

        `answered` is called once, when the work is durable or has failed for good, before those are told that
        have subscribed. Raises what :meth:`submit` raises.
        """
        self._spool.put(_Item(work, answered), size_bytes)

    def close(self, timeout_s: float = 10.0) -> bool:
        """Write what waits, then end; False if the store could not be written and the rest is lost."""
        self._spool.close()
        self._breathe.set()
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            self.give_up()
            self._thread.join()
        return not self._gave_up

    def give_up(self) -> None:
        """Try each thing that waits once more, and then let it fail with `WriterClosedError`."""
        self._gave_up = True
        self._hurry.set()

    def _run(self) -> None:
        while items := self._spool.take(GROUP):
            self._settle(items)
            self._spool.release(items)
            self._tell()
            self._breathe.wait(BREATH_S)

    def _tell(self) -> None:
        for listener in self._listeners:
            try:
                listener(self._head.number)
            except Exception:  # a fault in a listener must not end the writing
                self._log.exception("writer.listener_failed")

    def _settle(self, items: list[_Item]) -> None:
        """Write a group; if its own work is at fault, halve it until the guilty one fails alone."""
        outcomes = self._until_written(items)
        if isinstance(outcomes, _Failed):
            if len(items) == 1:
                self._answer(items[0], None, outcomes.error)
            else:
                middle = len(items) // 2
                self._settle(items[:middle])
                self._settle(items[middle:])
            return
        for item, outcome in zip(items, outcomes, strict=True):
            self._answer(item, outcome, None)

    def _answer(self, item: _Item, answer: Any, error: Exception | None) -> None:
        try:
            item.answered(answer, error)
        except Exception:  # a fault in whoever is told must not end the writing
            self._log.exception("writer.answer_failed")

    def _until_written(self, items: list[_Item]) -> list[Any] | _Failed:
        """Return the answers of a group, or why it is at fault itself; waits while the world is."""
        retry_s = FIRST_RETRY_S
        while True:
            try:
                return self._commit(items)
            except Exception as error:  # a piece of work may raise whatever it likes
                if not is_environment(error):
                    return _Failed(error)
                self._failing(error)
                if self._gave_up:
                    return _Failed(_lost(error))
            self._pause(retry_s)
            retry_s = min(LAST_RETRY_S, 2 * retry_s)

    def _commit(self, items: list[_Item]) -> list[Any]:
        begun = time.perf_counter()
        with self._engine.connect() as connection, connection.begin():
            group = self._took_hold(connection) or self._run_group(connection, items)
            self._in_doubt = group
        self._in_doubt = None
        self._committed(group.tx, time.perf_counter() - begun)
        return group.answers

    def _run_group(self, connection: Connection, items: list[_Item]) -> _InDoubt:
        tx = Transaction(connection, self._head, self._statements)
        answers = [item.work(tx) for item in items]
        tx.flush()
        return _InDoubt(tx, answers)

    def _took_hold(self, connection: Connection) -> _InDoubt | None:
        """Return the group whose COMMIT raised an error if the store holds it all the same.

        Raises `StoreMovedOnError` if somebody else wrote the store while this writer could not.
        """
        group = self._in_doubt
        if group is None and self._health.ok:
            return None
        found = last_entry(connection)
        self._in_doubt = None
        if found == self._head:
            return None
        if group is None or found != group.tx.head:
            raise StoreMovedOnError(str(found), str(self._head))
        return group

    def _committed(self, tx: Transaction, took_s: float) -> None:
        was = self._health
        if not was.ok:
            self._log.info("store.recovered", failing_since_us=was.failing_since_us)
        self._head = tx.head
        self._health = WriterHealth(
            commits=was.commits + 1, rows=was.rows + tx.rows_written, last_commit_s=took_s
        )

    def _failing(self, error: Exception) -> None:
        why = in_words(error)
        if why != self._health.why:
            self._log.error("store.unwritable", why=why)
            since_us = self._health.failing_since_us or self._clock_us()
            self._health = replace(self._health, ok=False, why=why, failing_since_us=since_us)
        if not is_lock(error):
            self._engine.dispose()  # the next try opens the file again
        if self._on_full is not None and is_disk_full(error):
            self._on_full()


def _settle_future(future: "Future[Any]", answer: Any, error: Exception | None) -> None:
    if error is None:
        future.set_result(answer)
    else:
        future.set_exception(error)


def _lost(error: Exception) -> WriterClosedError:
    text = f"it was not kept, because the store could not be written until the stop: {in_words(error)}"
    return WriterClosedError(text)

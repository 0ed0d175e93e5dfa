"""Watches the host's clock while the daemon runs, and enters what happens to it in the ledger."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

import structlog

from storage.errors import SpoolFullError, WriterClosedError
from storage.ledger import ActorKind
from storage.rows import ClockEventRow
from storage.transaction import Transaction
from storage.writer import Writer
from tundish.host_clock import ClockReading, Judgement, step_between, step_in_words
from tundish.store_sink import DAEMON

BEHIND: Final = "the clock of this computer is behind the last sign of life in the store"

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class _Note:
    at_us: int
    row: ClockEventRow


class ClockWatch:
    """Compares the host's clock with a steady one, round by round, and asks the system how it judges it.

    What happened is entered in order; while the store takes nothing, it waits here.
    """

    def __init__(
        self,
        writer: Writer,
        read: Callable[[], ClockReading],
        judge: Callable[[], Judgement],
    ) -> None:
        self._writer = writer
        self._read = read
        self._judge = judge
        self._last = read()
        self._judgement = judge()
        self._session = 0
        self._waiting: deque[_Note] = deque()

    @property
    def judgement(self) -> Judgement:
        """How far the clock can be trusted now."""
        return self._judgement

    def begin(self, session: int, last_alive_us: int | None) -> None:
        """Begin to watch for a session of the daemon.

        Parameters
        ----------
        session : int
            Its ledger number.
        last_alive_us : int, optional
            When the daemon was last seen alive, by the host's clock of then: a clock that is behind it now
            was put back, or lost its time without power. [µs since 1970 UTC]
        """
        self._session = session
        behind = (
            None
            if last_alive_us is None
            else step_between(ClockReading(last_alive_us, 0), ClockReading(self._last.utc_us, 0))
        )
        if behind is not None and behind < 0:
            self._stepped(behind, BEHIND)
        self._enter_what_waits()

    def look(self) -> None:
        """Look once: enter a step since the last round, and a change of the judgement."""
        now, judgement = self._read(), self._judge()
        step_us = step_between(self._last, now)
        self._last = now
        changed = judgement.quality is not self._judgement.quality
        self._judgement = judgement
        if step_us:
            self._stepped(step_us, step_in_words(step_us))
        if changed:
            log.warning("clock.judged", quality=judgement.quality.value, why=judgement.why)
            self._note("judged", judgement.why, None)
        self._enter_what_waits()

    def _stepped(self, step_us: int, why: str) -> None:
        log.warning("clock.stepped", step_s=step_us / 1e6, why=why)
        self._note("stepped", why, step_us)

    def _note(self, event: str, why: str, step_us: int | None) -> None:
        said = self._judgement
        row = ClockEventRow(self._session, event, said.quality.value, why, said.max_error_us, step_us)
        self._waiting.append(_Note(self._last.utc_us, row))

    def _enter_what_waits(self) -> None:
        while self._waiting:
            note = self._waiting[0]
            try:
                self._writer.submit(partial(_enter, note=note))
            except (SpoolFullError, WriterClosedError):
                return
            self._waiting.popleft()


def _enter(tx: Transaction, note: _Note) -> int:
    return tx.enter(
        f"clock.{note.row.event}",
        at_us=note.at_us,
        actor=DAEMON,
        actor_kind=ActorKind.DAEMON,
        rows={"clock_event": [note.row]},
    )

"""What the daemon does beside hearing: take readings in, beat the heart, log the head of the ledger."""

import asyncio
from collections.abc import Awaitable, Callable
from concurrent.futures import Future
from contextlib import suppress
from typing import Protocol

import structlog

from acquire.clock import Clock
from acquire.instants import NS_PER_US
from bench.intake import Intake
from storage.errors import SpoolFullError
from storage.store import Store
from storage.writer import Writer

log = structlog.get_logger()

PACE_S = 0.08
"""Shortest time between two rounds of step 2: many readings are taken at a time, yet what was heard is seen
as a result within 0.15 s. [s]"""
RETRY_S = 5.0
"""How long step 2 waits after a fault of its own. [s]"""


class Step2(Protocol):
    """Takes committed readings in, batch by batch."""

    @property
    def behind(self) -> bool:
        """Whether the last step left readings that were there when it began."""

    @property
    def place(self) -> int:
        """The number of the last reading that was taken."""

    def step(self) -> int:
        """Take the next readings; return how many."""


async def take_in(
    store: Store, intake: Step2, *, sleep: Callable[[float], Awaitable[None]] = asyncio.sleep
) -> None:
    """Run step 2 whenever something was committed; a fault in it is logged and does not stop the hearing.

    What comes after a quiet moment is taken at once.
    """
    bell = asyncio.Event()
    ringer = Ringer(asyncio.get_running_loop(), bell, store.writer.head.number)
    end = store.writer.subscribe(ringer.ring)
    try:
        while True:
            bell.clear()
            await sleep(PACE_S if await all_taken(intake) else RETRY_S)
            await bell.wait()
    finally:
        end()


async def all_taken(intake: Step2) -> bool:
    """Take everything there is by now; False if step 2 failed, whose readings then wait where they are.

    What comes meanwhile waits for the next round: on a busy bench there would be no end to it.
    """
    try:
        while await asyncio.to_thread(intake.step) and intake.behind:
            pass
    except Exception:
        log.exception("intake.failed", place=intake.place)
        return False
    return True


class Ringer:
    """Rings when something was entered; a beat of the heart is committed too, and enters nothing."""

    def __init__(self, loop: asyncio.AbstractEventLoop, bell: asyncio.Event, head: int) -> None:
        self._loop = loop
        self._bell = bell
        self._head = head

    def ring(self, head: int) -> None:
        """Take the head of the ledger after a commit."""
        if head != self._head and not self._bell.is_set():
            self._loop.call_soon_threadsafe(self._bell.set)
        self._head = head


class Heart:
    """Keeps the moment up to which all that arrived is known to be kept: after a crash, gaps begin there.

    One beat waits at most: while the store cannot be written, the room is for what instruments say.
    """

    def __init__(self, store: Store, clock: Clock, kept_until_ns: Callable[[], int]) -> None:
        self._store = store
        self._clock = clock
        self._kept_until_ns = kept_until_ns
        self._last: Future[None] | None = None

    def beat(self) -> None:
        """Keep the moment; if there is no room, another beat comes."""
        if self._last is not None and not self._last.done():
            return
        ago_ns = self._clock.monotonic_ns() - self._kept_until_ns()
        at_us = self._clock.utc_us() - ago_ns // NS_PER_US
        with suppress(SpoolFullError):
            self._last = self._store.writer.submit(lambda tx: tx.heartbeat(at_us))


def say_head(store: Store) -> None:
    """Write the head of the ledger to the log, so that a tail that is cut off later is missed."""
    head = store.writer.head
    log.info("ledger.head", number=head.number, link=head.link.hex())


async def let_go_of_a_stuck_store(writer: Writer, after_s: float) -> None:
    """Give a store that cannot be written a while, then let what waits for it fail: a stop must end. [s]"""
    while True:
        await asyncio.sleep(after_s)
        if not writer.health().ok:
            writer.give_up()


def drain(store: Store, intake: Intake, clock_us: Callable[[], int]) -> None:
    """Take in what is still untaken and enter the end of the session."""
    while intake.step():
        pass
    store.end_session(clock_us())

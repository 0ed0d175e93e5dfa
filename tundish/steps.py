"""What the daemon does beside hearing: take readings in, beat the heart, log the head of the ledger."""

import asyncio
from collections.abc import Callable
from contextlib import suppress

import structlog

from bench.intake import Intake
from storage.errors import SpoolFullError
from storage.store import Store
from tundish.store_sink import DAEMON

log = structlog.get_logger()


async def take_in(store: Store, clock_us: Callable[[], int]) -> None:
    """Run step 2 whenever something was committed; a fault in it is logged and does not stop the hearing."""
    bell = asyncio.Event()
    loop = asyncio.get_running_loop()
    end = store.writer.subscribe(lambda _head: _ring(loop, bell))
    intake = Intake(store, clock_us, DAEMON)
    try:
        while True:
            bell.clear()
            while await asyncio.to_thread(intake.step):
                pass
            await bell.wait()
    finally:
        end()


def _ring(loop: asyncio.AbstractEventLoop, bell: asyncio.Event) -> None:
    if not bell.is_set():
        loop.call_soon_threadsafe(bell.set)


def beat(store: Store, at_us: int) -> None:
    """Keep the moment as the last one at which the daemon was alive; if there is no room, another comes."""
    with suppress(SpoolFullError):
        store.writer.submit(lambda tx: tx.heartbeat(at_us))


def say_head(store: Store) -> None:
    """Write the head of the ledger to the log, so that a tail that is cut off later is missed."""
    head = store.writer.head
    log.info("ledger.head", number=head.number, link=head.link.hex())


def drain(store: Store, clock_us: Callable[[], int]) -> None:
    """Take in what is still untaken and enter the end of the session."""
    intake = Intake(store, clock_us, DAEMON)
    while intake.step():
        pass
    store.end_session(clock_us())

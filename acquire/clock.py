"""The clock as a parameter: what tells the time and what waits, so that tests need not."""

import asyncio
import time
from collections.abc import Awaitable
from typing import Final, Protocol, TypeVar

from acquire.events import Instant
from acquire.instants import NS_PER_US

NS_PER_S: Final = 1_000_000_000  # [ns/s], exact

T = TypeVar("T")


class Clock(Protocol):
    """Tells the time in any thread and waits in the event loop."""

    def utc_us(self) -> int:
        """Return microseconds since 1970-01-01T00:00:00Z. [µs]"""

    def monotonic_ns(self) -> int:
        """Return a time that never steps. [ns]"""

    async def sleep(self, duration_s: float) -> None:
        """Wait. [s]"""


class SystemClock:
    """The clock of this machine."""

    def utc_us(self) -> int:
        """Return microseconds since 1970-01-01T00:00:00Z. [µs]"""
        return time.time_ns() // NS_PER_US

    def monotonic_ns(self) -> int:
        """Return a time that never steps. [ns]"""
        return time.monotonic_ns()

    async def sleep(self, duration_s: float) -> None:
        """Wait. [s]"""
        await asyncio.sleep(duration_s)


def now(clock: Clock) -> Instant:
    """Return this moment by both of a clock's hands."""
    return Instant(clock.utc_us(), clock.monotonic_ns())


async def within(clock: Clock, work: Awaitable[T], limit_s: float) -> T | None:
    """Wait for `work`, but no longer than `limit_s` by that clock; None if the time ran out. [s]

    What did not end in time is cancelled, so it must lose nothing when it is.
    """
    task = asyncio.ensure_future(work)
    alarm = asyncio.ensure_future(clock.sleep(limit_s))
    try:
        await asyncio.wait({task, alarm}, return_when=asyncio.FIRST_COMPLETED)
        return task.result() if task.done() else None
    finally:
        for unfinished in (task, alarm):
            unfinished.cancel()
        await asyncio.gather(task, alarm, return_exceptions=True)

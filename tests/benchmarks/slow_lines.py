"""A driver of code that works long for every message: what a stranger's package may bring."""

import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from acquire.driver import Driver, DriverFactory, DriverIdentity
from acquire.events import Event, Instant
from acquire.registry import DriverRegistry

IDENTITY: Final = DriverIdentity("slow-lines", "1", "slow-lines==1")
WORK_S: Final = 0.1
"""How long it works for what comes at once. [s] of processor time"""


class SlowDriver:
    """Reads as another driver does, and works long before."""

    def __init__(self, driver: Driver) -> None:
        self._driver = driver

    @property
    def next_deadline_ns(self) -> int | None:
        """Monotonic time at which it wants to be told the time. [ns]"""
        return self._driver.next_deadline_ns

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes."""
        began_s = time.thread_time()
        while time.thread_time() - began_s < WORK_S:
            pass
        return self._driver.receive(data, at)

    def tick(self, at: Instant) -> list[Event]:
        """Take note that time has passed."""
        return self._driver.tick(at)

    def closed(self, at: Instant) -> list[Event]:
        """Say what is unfinished."""
        return self._driver.closed(at)

    def to_send(self) -> bytes:
        """Return what is to leave."""
        return self._driver.to_send()


@dataclass(frozen=True)
class SlowLines:
    """Makes slow drivers for what `load-lines` reads."""

    quick: DriverFactory
    identity: DriverIdentity = IDENTITY

    def __call__(self) -> SlowDriver:
        """Return a driver that has heard nothing yet."""
        return SlowDriver(self.quick())


def driver(_options: Mapping[str, Any]) -> SlowLines:
    """Return the factory; it has no options."""
    return SlowLines(DriverRegistry().factory("load-lines"))

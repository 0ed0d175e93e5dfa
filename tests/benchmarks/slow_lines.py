"""A driver of code that works long for every message: what a stranger's package may bring."""

import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from acquire.driver import DriverFactory, DriverIdentity
from acquire.events import Event, Instant
from acquire.registry import DriverRegistry
from tundish.mute import MuteDriver

IDENTITY: Final = DriverIdentity("slow-lines", "1", "slow-lines==1")
WORK_S: Final = 0.1
"""How long it works for what comes at once. [s] of processor time"""


class SlowDriver(MuteDriver):
    """Reads as another driver does, and works long before; it sends nothing."""

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Work, then take bytes."""
        began_s = time.thread_time()
        while time.thread_time() - began_s < WORK_S:
            pass
        return super().receive(data, at)


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

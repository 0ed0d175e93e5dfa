"""What the lines of one program share."""

from typing import NamedTuple

from acquire.clock import Clock
from acquire.lines.device_watch import DeviceWatch
from acquire.lines.rounds import Rounds


class Together(NamedTuple):
    """Lines that are read together and wake the event loop together."""

    watch: DeviceWatch
    rounds: Rounds

    @classmethod
    def in_running_loop(cls, clock: Clock) -> "Together":
        """Return what lines of the running event loop can share."""
        return cls(DeviceWatch(clock), Rounds())

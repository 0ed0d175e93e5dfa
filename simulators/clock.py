"""The clocks of the simulated bench.

Two times run side by side. The *wall* is what people, cables and computers live by. The *work* of an
instrument (dosing, settling, drifting) may run faster by a speed factor, so that a titration need not take
two minutes. An instrument's calendar stays that of the wall: a fast demonstration does not run into next
week.
"""

import time
from collections.abc import Callable
from typing import Protocol


class Clock(Protocol):
    """What the bench asks of time."""

    @property
    def speed(self) -> float:
        """Seconds of work in one second of the wall. [1]"""

    def wall_s(self) -> float:
        """Return the wall time since the bench was switched on; it never steps back. [s]"""

    def work_s(self) -> float:
        """Return the time that the instruments have worked. [s]"""

    def utc_us(self) -> int:
        """Return the calendar time of the wall, since 1970-01-01T00:00:00Z. [µs]"""


class ScaledClock:
    """The computer's own clock, with work running `speed` times as fast."""

    def __init__(self, speed: float = 1.0, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._speed = checked_speed(speed)
        self._monotonic = monotonic
        self._start_s = monotonic()

    @property
    def speed(self) -> float:
        """Seconds of work in one second of the wall. [1]"""
        return self._speed

    def wall_s(self) -> float:
        """Return the wall time since this clock was made. [s]"""
        return self._monotonic() - self._start_s

    def work_s(self) -> float:
        """Return the time that the instruments have worked. [s]"""
        return self.wall_s() * self._speed

    def utc_us(self) -> int:
        """Return the calendar time of the wall. [µs]"""
        return time.time_ns() // 1000


class ManualClock:
    """A clock that moves when it is told to, for tests and for scripted runs."""

    def __init__(self, speed: float = 1.0, start_utc_us: int = 0) -> None:
        self._speed = checked_speed(speed)
        self._start_utc_us = start_utc_us
        self._wall_us = 0  # an integer, so that ten times 0.1 s is one second

    @property
    def speed(self) -> float:
        """Seconds of work in one second of the wall. [1]"""
        return self._speed

    def advance(self, wall_s: float) -> None:
        """Let this much wall time pass. [s]"""
        if wall_s < 0:
            raise ValueError(f"a clock does not run back: {wall_s} s asked, 0 or more wanted")
        self._wall_us += round(wall_s * 1_000_000)

    def wall_s(self) -> float:
        """Return the wall time that has passed. [s]"""
        return self._wall_us / 1_000_000

    def work_s(self) -> float:
        """Return the time that the instruments have worked. [s]"""
        return self.wall_s() * self._speed

    def utc_us(self) -> int:
        """Return the calendar time of the wall. [µs]"""
        return self._start_utc_us + self._wall_us


def checked_speed(speed: float) -> float:
    """Return the speed factor, or raise `ValueError` if no clock can run like that."""
    if not 0 < speed <= 10_000:
        raise ValueError(f"speed {speed:g} is not possible; give a factor above 0 and up to 10000")
    return speed

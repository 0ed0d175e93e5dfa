"""The clock of this computer: how far it can be trusted, and whether it was put forward or back.

Two different things are asked. Whether a time service keeps it in step, only the system can say. Whether it
stepped, a second clock shows that nobody can set.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tundish.adjtimex import kernel_clock

STEP_US: Final = 100_000
"""Differences below are no step: the least step that the reference time service makes is 128 ms (RFC 5905,
appendix A.1.1, STEPT), and two readings of both clocks here lie within a few milliseconds. [µs]"""
SPREAD_NS: Final = 1_000_000
"""A reading of both clocks that took longer is taken again: the process was interrupted between them. [ns]"""
TRIES: Final = 5
_BOOTTIME: Final[int | None] = getattr(time, "CLOCK_BOOTTIME", None)
COUNTS_SLEEP: Final = _BOOTTIME is not None or sys.platform == "win32"
"""Whether the steady clock goes on while the computer sleeps; elsewhere a sleep looks like a step."""

_US_PER_S: Final = 1_000_000  # [µs/s], exact


class Quality(StrEnum):
    """How far the host's clock can be trusted."""

    IN_STEP = "in_step"
    """A time service keeps it in step."""
    NOT_IN_STEP = "not_in_step"
    """It runs by itself."""
    UNKNOWN = "unknown"
    """The system does not say."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """How far the host's clock can be trusted, and by what."""

    quality: Quality
    why: str
    """Plain words."""
    max_error_us: int | None = None
    """How far it may be off, where the system says so. [µs]"""


@dataclass(frozen=True, slots=True)
class ClockReading:
    """Both clocks at one moment."""

    utc_us: int
    """The host's clock, since 1970 UTC. [µs]"""
    steady_ns: int
    """A clock that nobody can set; only differences mean something. [ns]"""


def judge() -> Judgement:
    """Ask the system how it judges its clock."""
    if sys.platform != "linux":
        return Judgement(Quality.UNKNOWN, f"this system ({sys.platform}) is not asked; see to it by hand")
    try:
        kernel = kernel_clock()
    except (OSError, AttributeError) as error:
        return Judgement(Quality.UNKNOWN, f"the system does not say: {error}")
    if not kernel.synchronised:
        return Judgement(Quality.NOT_IN_STEP, "it runs by itself: no time service keeps it in step")
    off_s = kernel.max_error_us / _US_PER_S
    return Judgement(
        Quality.IN_STEP, f"a time service keeps it in step, within {off_s:.3g} s", kernel.max_error_us
    )


def read_clocks(
    utc_us: Callable[[], int] = lambda: time.time_ns() // 1000,
    steady_ns: Callable[[], int] | None = None,
) -> ClockReading:
    """Read both clocks as nearly at one moment as the system lets us."""
    steady = steady_ns or _steady_ns
    best: tuple[int, ClockReading] | None = None
    for _ in range(TRIES):
        before = steady()
        now_us = utc_us()
        spread = steady() - before
        if best is None or spread < best[0]:
            best = spread, ClockReading(now_us, before + spread // 2)
        if spread <= SPREAD_NS:
            break
    if best is None:
        raise AssertionError("no reading was tried")
    return best[1]


def _steady_ns() -> int:
    if _BOOTTIME is not None:
        return time.clock_gettime_ns(_BOOTTIME)
    return time.monotonic_ns()


def step_between(before: ClockReading, after: ClockReading) -> int:
    """Return by how much the host's clock was put forward (or, negative, back) in between; 0 if not. [µs]"""
    went_us = (after.steady_ns - before.steady_ns) // 1000
    step_us = after.utc_us - before.utc_us - went_us
    return step_us if abs(step_us) >= STEP_US else 0


def step_in_words(step_us: int) -> str:
    """Say a step as people do. [µs]"""
    way = "forward" if step_us > 0 else "back"
    slept = ", or the computer slept" if step_us > 0 and not COUNTS_SLEEP else ""
    return f"the clock of this computer was put {way} by {abs(step_us) / _US_PER_S:.3f} s{slept}"

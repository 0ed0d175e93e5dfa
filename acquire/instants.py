"""Reckoning with moments, without a clock: for drivers, which have none."""

from typing import Final

from acquire.events import Instant

NS_PER_US: Final = 1_000  # [ns/µs], exact
NS_PER_S: Final = 1_000_000_000  # [ns/s], exact


def moved(at: Instant, by_ns: int) -> Instant:
    """Return the moment that lies `by_ns` after another. [ns]"""
    return Instant(at.utc_us + by_ns // NS_PER_US, at.monotonic_ns + by_ns)


def seconds_between(begin: Instant, end: Instant) -> float:
    """Return how long after one moment another one was. [s]"""
    return (end.monotonic_ns - begin.monotonic_ns) / NS_PER_S

"""Reckoning with moments, without a clock: for drivers, which have none."""

from typing import Final

from acquire.events import Instant

NS_PER_US: Final = 1_000  # [ns/µs], exact


def moved(at: Instant, by_ns: int) -> Instant:
    """Return the moment that lies `by_ns` after another. [ns]"""
    return Instant(at.utc_us + by_ns // NS_PER_US, at.monotonic_ns + by_ns)

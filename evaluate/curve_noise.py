"""Noise of a signal while it moves, and the rhythm in it."""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from evaluate.checks import enough, finite
from evaluate.errors import EvaluateError
from evaluate.statistics import NORMAL_MAD, median

LEAST_READINGS: Final = 8  # [1]; two periods of a rhythm four readings long
LEAST_CORRELATION: Final = 0.6  # likeness from which it is a rhythm [1]; setting of this module
NEARLY_BEST: Final = 0.9  # likeness, of the best one, from which a shorter period is taken [1]; setting


class Noise(NamedTuple):
    """How much a signal jumps about, and how often."""

    level: float
    """Standard deviation of one reading about the line through its neighbours. [unit of the signal]"""
    period_s: float | None
    """Period of a rhythm in it, as of a stir bar that strikes the probe; None if there is none. [s]"""


def noise_with_rhythm(time_s: Sequence[float], signal: Sequence[float]) -> Noise:
    """Return the noise of evenly read signals and the period of its rhythm.

    Parameters
    ----------
    time_s : sequence of float
        Time of each reading, growing, at about even steps, shape ``(n,)``, eight or more. [s]
    signal : sequence of float
        Signal, shape ``(n,)``. [any unit]

    Returns
    -------
    Noise
        Level [unit of the signal] and period [s].

    Raises
    ------
    TooFewPointsError
        If there are fewer than eight readings.
    OutOfRangeError
        If a value is not finite.
    EvaluateError
        If the two differ in length or time does not grow.

    Notes
    -----
    What is left of each reading beside the mean of its neighbours: a signal that rises evenly leaves nothing.
    Its median, scaled to a normal law, is the level. A rhythm is the shortest shift, of two readings up
    to half of them, at which what is left resembles itself. One faster than two readings shows as slower.

    References
    ----------
    .. [1] Autocorrelation, G. E. P. Box, G. M. Jenkins, Time series analysis, 1970, chapter 2. Status: common
       practice, no source for the limits.
    """
    if len(time_s) != len(signal):
        raise EvaluateError(f"{len(time_s)} times and {len(signal)} signals came; one of each is wanted")
    enough("readings for noise", len(signal), LEAST_READINGS)
    times, values = [finite("time", t) for t in time_s], [finite("signal", y) for y in signal]
    steps = [later - earlier for earlier, later in pairwise(times)]
    if min(steps) <= 0:
        raise EvaluateError("time does not grow from reading to reading", name="time")
    left = [b - (a + c) / 2 for a, b, c in zip(values, values[1:], values[2:], strict=False)]
    level = NORMAL_MAD * median(map(abs, left)) / math.sqrt(1.5)  # 1 + 1/4 + 1/4: variances of three readings
    lag = _rhythm(left)
    return Noise(level, None if lag is None else lag * median(steps))


def _rhythm(left: list[float]) -> int | None:
    """Return the shortest lag at which a series resembles itself; two and three periods on it does again."""
    if not any(left):
        return None
    likeness = {lag: _correlation(left, lag) for lag in range(2, len(left) // 2 + 1)}
    least = max(LEAST_CORRELATION, NEARLY_BEST * max(likeness.values()))
    lowest = min(likeness.values())
    for lag, value in likeness.items():
        if value >= least and value >= likeness.get(lag + 1, lowest):  # the first to do so is a peak
            return lag
    return None


def _correlation(left: list[float], lag: int) -> float:
    one, two = left[:-lag], left[lag:]
    together = math.fsum(a * b for a, b in zip(one, two, strict=True))
    scale = math.sqrt(math.fsum(a * a for a in one) * math.fsum(b * b for b in two))
    return together / scale if scale > 0 else 0.0

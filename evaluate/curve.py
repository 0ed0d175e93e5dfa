"""A titration curve as it may be evaluated: volumes that only grow, one finite signal at each."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final, Literal, NamedTuple, TypeGuard

from evaluate.checks import not_negative
from evaluate.errors import EvaluateError
from evaluate.statistics import NORMAL_MAD, median

NOISE_POINTS: Final = 12  # [1]; with fewer, too much of a curve is jump to tell noise from bending


class Dropped(StrEnum):
    """Why a point was left out of a curve."""

    MISSING = "volume or signal missing"
    RAIL = "signal at the end of its range"
    BACKWARD = "volume out of order"
    REPEATED = "another reading at the same volume"


class DroppedPoint(NamedTuple):
    """A point that was left out: its place in the input, counted from 0, and why."""

    place: int
    why: Dropped


@dataclass(frozen=True, slots=True)
class Curve:
    """Volumes that grow strictly [mL] and the signal at each [pH, mV or µA]; shape ``(n,)`` both."""

    volume_ml: tuple[float, ...]
    signal: tuple[float, ...]
    dropped: tuple[DroppedPoint, ...] = ()

    def __post_init__(self) -> None:
        if len(self.volume_ml) != len(self.signal):
            raise _unequal(len(self.volume_ml), len(self.signal))
        if not all(map(math.isfinite, (*self.volume_ml, *self.signal))):
            raise EvaluateError("a curve holds finite numbers only; pass raw readings to clean_curve first")
        if any(later <= earlier for earlier, later in pairwise(self.volume_ml)):
            raise EvaluateError("volumes of a curve must grow; pass raw readings to clean_curve first")

    def __len__(self) -> int:
        return len(self.volume_ml)

    @property
    def span(self) -> float:
        """Greatest less least signal; 0 for an empty curve. [unit of the signal]"""
        return max(self.signal, default=0.0) - min(self.signal, default=0.0)

    def between(self, low_ml: float, high_ml: float) -> "Curve":
        """Return the part with volumes from `low_ml` to `high_ml`, both included. [mL]"""
        kept = [(v, y) for v, y in zip(self.volume_ml, self.signal, strict=True) if low_ml <= v <= high_ml]
        return Curve(tuple(v for v, _ in kept), tuple(y for _, y in kept), self.dropped)

    def slopes(self, stride: int = 1) -> tuple[tuple[float, float], ...]:
        """Return (mid-volume [mL], slope [signal per mL]) of every chord over `stride` steps."""
        v, y = self.volume_ml, self.signal
        pairs = ((i, i + stride) for i in range(len(v) - stride))
        return tuple(((v[i] + v[j]) / 2, (y[j] - y[i]) / (v[j] - v[i])) for i, j in pairs)

    def bracket(self, volume_ml: float) -> int:
        """Return the index of the reading that opens the step in which a volume lies."""
        return min(max(bisect_right(self.volume_ml, volume_ml) - 1, 0), len(self) - 2)

    def at(self, volume_ml: float) -> float:
        """Return the signal at a volume, in a straight line between the readings beside it."""
        i = self.bracket(volume_ml)
        share = (volume_ml - self.volume_ml[i]) / (self.volume_ml[i + 1] - self.volume_ml[i])
        return self.signal[i] + share * (self.signal[i + 1] - self.signal[i])

    def noise(self) -> float:
        """Estimate the standard deviation of one reading; 0 below twelve points. [unit of the signal]

        Each reading is held against the straight line and against the cubic through its neighbours, and the
        smaller median of what is left is scaled to a normal law. The jump hardly counts, being few points; on
        a coarse curve some of its bending still counts as noise, so the figure is an upper one there.
        """
        if len(self) < NOISE_POINTS:
            return 0.0
        places = range(2, len(self) - 2)
        by_line = median([self._off_the_line(i) for i in places])
        by_cubic = median([self._off_the_cubic(i) for i in places])
        return NORMAL_MAD * min(by_line, by_cubic)

    def _off_the_line(self, i: int) -> float:
        """Return a reading's distance from the line through its neighbours, over that of a unit scatter."""
        v, y = self.volume_ml, self.signal
        share = (v[i] - v[i - 1]) / (v[i + 1] - v[i - 1])
        left = y[i] - (1 - share) * y[i - 1] - share * y[i + 1]
        return abs(left) / math.sqrt(1 + (1 - share) ** 2 + share**2)

    def _off_the_cubic(self, i: int) -> float:
        """Return the same for the cubic through two neighbours on either side, by the weights of Lagrange."""
        v, y = self.volume_ml, self.signal
        a, b, c, d = v[i] - v[i - 2], v[i] - v[i - 1], v[i + 1] - v[i], v[i + 2] - v[i]
        far_left = -b * c * d / ((a - b) * (a + c) * (a + d))
        left = a * c * d / ((a - b) * (b + c) * (b + d))
        right = a * b * d / ((a + c) * (b + c) * (d - c))
        far_right = -a * b * c / ((a + d) * (b + d) * (d - c))
        cubic = far_left * y[i - 2] + left * y[i - 1] + right * y[i + 1] + far_right * y[i + 2]
        return abs(y[i] - cubic) / math.sqrt(1 + far_left**2 + left**2 + right**2 + far_right**2)


def clean_curve(
    volume_ml: Sequence[float | None],
    signal: Sequence[float | None],
    *,
    rail_low: float = -math.inf,
    rail_high: float = math.inf,
    repeated: Literal["last", "mean"] = "last",
) -> Curve:
    """Return the curve that raw readings hold, with what was left out and why.

    Parameters
    ----------
    volume_ml : sequence of float or None
        Volume dispensed at each reading, in the order heard, shape ``(n,)``. [mL]
    signal : sequence of float or None
        Signal at each reading, shape ``(n,)``; None or nan where the instrument gave none. [pH, mV or µA]
    rail_low, rail_high : float
        Ends of the input's range; a signal at or beyond one is a stuck input. [unit of the signal]
    repeated : {"last", "mean"}
        Which signal counts where several readings share a volume: the last, which had longest to settle, or
        their mean.

    Returns
    -------
    Curve
        Strictly growing volumes. Of readings out of order the fewest that will do are left out, so one wrong
        high volume costs one point and not all that follow.

    Raises
    ------
    EvaluateError
        If the two differ in length.
    OutOfRangeError
        If a volume is negative.

    Notes
    -----
    Any number of readings, none included. No value is mended or made up. The order is restored with a longest
    non-decreasing subsequence [1]_.

    References
    ----------
    .. [1] M. L. Fredman, On computing the length of longest increasing subsequences, Discrete Mathematics 11
       (1975) 29. Status: recalled; the tests compare with a search over all subsequences.
    """
    if len(volume_ml) != len(signal):
        raise _unequal(len(volume_ml), len(signal))
    dropped: dict[int, Dropped] = {}
    points: list[tuple[int, float, float]] = []
    for index, (volume, value) in enumerate(zip(volume_ml, signal, strict=True)):
        if not (_is_number(volume) and _is_number(value)):
            dropped[index] = Dropped.MISSING
        elif not rail_low < value < rail_high:
            dropped[index] = Dropped.RAIL
        else:
            points.append((index, not_negative("volume", volume, "mL"), float(value)))
    kept = _in_order([volume for _, volume, _ in points])
    dropped |= {points[i][0]: Dropped.BACKWARD for i in range(len(points)) if i not in kept}
    return _merged([point for i, point in enumerate(points) if i in kept], dropped, repeated)


def _merged(
    points: list[tuple[int, float, float]], dropped: dict[int, Dropped], repeated: Literal["last", "mean"]
) -> Curve:
    """Keep one point a volume."""
    groups: dict[float, list[tuple[int, float]]] = {}
    for index, volume, value in points:
        groups.setdefault(volume, []).append((index, value))
    for group in groups.values():
        dropped |= {index: Dropped.REPEATED for index, _ in group[:-1]}
    values = [_one(group, repeated) for group in groups.values()]
    left_out = tuple(DroppedPoint(index, why) for index, why in sorted(dropped.items()))
    return Curve(tuple(groups), tuple(values), left_out)


def _one(group: list[tuple[int, float]], repeated: Literal["last", "mean"]) -> float:
    return group[-1][1] if repeated == "last" else math.fsum(value for _, value in group) / len(group)


def _in_order(values: list[float]) -> set[int]:
    """Return the places of a longest non-decreasing subsequence."""
    ends: list[float] = []  # ends[k]: the least value that ends such a subsequence of k + 1 values
    places: list[int] = []
    before: list[int] = []  # for each value, the place of the one it follows; -1 for none
    for place, value in enumerate(values):
        k = bisect_right(ends, value)
        before.append(places[k - 1] if k else -1)
        ends[k : k + 1] = [value]
        places[k : k + 1] = [place]
    kept: set[int] = set()
    place = places[-1] if places else -1
    while place >= 0:
        kept.add(place)
        place = before[place]
    return kept


def _is_number(value: float | None) -> TypeGuard[float]:
    return value is not None and math.isfinite(value)


def _unequal(volumes: int, signals: int) -> EvaluateError:
    return EvaluateError(
        f"{volumes} volumes and {signals} signals came; one signal is wanted for each volume",
        name="signal",
        value=signals,
    )

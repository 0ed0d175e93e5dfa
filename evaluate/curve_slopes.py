"""Slopes of a curve along chords, and the places where it is steepest."""

import math
from itertools import pairwise
from typing import Final, NamedTuple

from evaluate.curve import Curve

STRIDES_A_CURVE: Final = 8  # a chord spans at most this part of a curve's steps [1]; setting of this module

DEPTH_TO_NOISE: Final = 6.0  # dip between two jumps over the noise of a slope [1]; setting of this module


class Slopes(NamedTuple):
    """The chords of a curve over `stride` steps, each at its mid-volume, shape ``(n - stride,)``."""

    curve: Curve
    stride: int
    sign: float
    """1 for a titration in which the signal rises, -1 for one in which it falls."""
    mid_ml: tuple[float, ...]
    steep: tuple[float, ...]
    """Slope in the direction of the titration. [unit of the signal per mL]"""
    noise: float
    """Standard deviation of one reading. [unit of the signal]"""

    @classmethod
    def over(cls, curve: Curve, stride: int, sign: float) -> "Slopes":
        """Return the chords over a number of steps."""
        return cls._of(curve, stride, sign, curve.noise())

    @classmethod
    def _of(cls, curve: Curve, stride: int, sign: float, noise: float) -> "Slopes":
        mid, slope = zip(*curve.slopes(stride), strict=True)
        return cls(curve, stride, sign, mid, tuple(sign * s for s in slope), noise)

    @classmethod
    def calm(cls, curve: Curve, sign: float) -> "Slopes":
        """Return the shortest chords whose slopes rise to the steepest place and fall from it.

        Without noise these are the single steps. With noise, single steps are jagged and longer chords are
        taken, up to an eighth of the curve.
        """
        slopes = cls.over(curve, 1, sign)
        for stride in range(2, len(curve) // STRIDES_A_CURVE + 1):
            if all(slopes.is_hill(start) for start in slopes.starts(slopes.top)):
                break
            slopes = cls._of(curve, stride, sign, slopes.noise)
        return slopes

    @property
    def top(self) -> int:
        """Index of the steepest chord, the first of equals."""
        return self.steep.index(max(self.steep))

    def starts(self, peak: int) -> list[int]:
        """Return the `stride` chords about a peak; from each, chords can be laid end to end both ways."""
        first = max(peak - (self.stride - 1) // 2, 0)
        return [i for i in range(first, first + self.stride) if i < len(self.steep)]

    def highest(self, start: int) -> int:
        """Return the steepest of a chord and the two that touch it end to end."""
        beside = (start, start - self.stride, start + self.stride)
        return max((i for i in beside if 0 <= i < len(self.steep)), key=self.steep.__getitem__)

    def rise(self, peak: int) -> float:
        """Return how far the signal goes where it is at least half as steep as at the peak."""
        half = self.steep[peak] / 2
        low = high = peak
        while low > 0 and self.steep[low - 1] >= half:
            low -= 1
        while high < len(self.steep) - 1 and self.steep[high + 1] >= half:
            high += 1
        return self.sign * (self.curve.signal[high + self.stride] - self.curve.signal[low])

    def peaks(self, least_share: float) -> list[int]:
        """Return the steepest inner place and every other that stands out, in order of volume.

        Another place counts from `least_share` of the steepest slope on, and if between it and every steeper
        one the slope falls to less than half its own, by more than noise alone would do.
        """
        inner = range(1, len(self.steep) - 1)
        least = least_share * max(self.steep)
        high = [i for i in inner if self.steep[i] >= least]
        peaks: list[int] = []
        for i in sorted(high, key=self.steep.__getitem__, reverse=True):
            if all(self._is_parted(i, peak) for peak in peaks):
                peaks.append(i)
        return sorted(peaks)

    def is_hill(self, start: int) -> bool:
        """Tell whether slopes laid end to end fall on either side of their top, as far as half its height."""
        top = self.highest(start)
        onward = self.steep[top :: self.stride]
        back = self.steep[top :: -self.stride]
        return _falls(onward) and _falls(back)

    def _is_parted(self, lower: int, higher: int) -> bool:
        valley = min(self.steep[min(lower, higher) : max(lower, higher) + 1])
        length_ml = self.curve.volume_ml[lower + self.stride] - self.curve.volume_ml[lower]
        by_chance = DEPTH_TO_NOISE * math.sqrt(2) * self.noise / length_ml  # noise of both ends of a chord
        return valley < self.steep[lower] / 2 and self.steep[lower] - valley > by_chance


def _falls(values: tuple[float, ...]) -> bool:
    half = values[0] / 2
    for earlier, later in pairwise(values):
        if later > earlier:
            return False
        if later < half:
            break
    return True

"""The drawing of a lot's numbers against its band, with the line ahead, made without any library."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

DAY_US: Final = 86_400_000_000  # [µs]
AHEAD: Final = 0.6  # how far the line runs on, as a share of the time that was measured
LEAST_AHEAD_US: Final = 14 * DAY_US
MARGIN: Final = 12
HEADROOM: Final = 0.08  # left free above and below, as a share of the range


@dataclass(frozen=True, slots=True)
class Dot:
    """One measured value."""

    x: float
    y: float
    at_us: int
    """[µs]"""
    value: float


@dataclass(frozen=True, slots=True)
class LotChart:
    """A drawing of `width` by `height` units; y grows downwards."""

    width: int
    height: int
    dots: tuple[Dot, ...]
    line: tuple[float, float, float, float] | None
    """Of the trend: from x, y to x, y."""
    now_x: float
    end_us: int
    """Where the drawing ends. [µs]"""
    band_top: float | None
    band_bottom: float | None


@dataclass(frozen=True, slots=True)
class Slope:
    """A straight line through a moment. [µs, unit of the quantity, that a day]"""

    at_us: int
    value: float
    per_day: float

    def value_at(self, at_us: float) -> float:
        """Return the value of the line at a moment. [µs]"""
        return self.value + self.per_day * (at_us - self.at_us) / DAY_US

    def end(self, at_us: float) -> float:
        """Return how far the line is drawn: to a moment, or until nothing is left. [µs]"""
        if self.value_at(at_us) >= 0 or self.per_day >= 0:
            return at_us
        return self.at_us - self.value / self.per_day * DAY_US


def lot_chart(
    points: Sequence[tuple[int, float]],
    now_us: int,
    slope: Slope | None,
    band: tuple[float | None, float | None],
    *,
    width: int = 720,
    height: int = 240,
) -> LotChart | None:
    """Return the drawing of values in the order of time, or None if there is none. [µs, unit]"""
    if not points:
        return None
    begin = points[0][0]
    span = max(now_us - begin, DAY_US)
    end = now_us + max(round(span * AHEAD), LEAST_AHEAD_US)
    shown = [value for _, value in points] + [edge for edge in band if edge is not None]
    if slope is not None:
        shown += [slope.value_at(begin), slope.value_at(slope.end(end))]
    lowest, highest = min(shown), max(shown)
    room = (highest - lowest) * HEADROOM or abs(highest) * HEADROOM or 1.0
    lowest, highest = lowest - room, highest + room

    def x(at_us: float) -> float:
        return MARGIN + (at_us - begin) / (end - begin) * (width - 2 * MARGIN)

    def y(value: float) -> float:
        return MARGIN + (highest - value) / (highest - lowest) * (height - 2 * MARGIN)

    low, high = band
    has_band = low is not None or high is not None
    return LotChart(
        width,
        height,
        tuple(Dot(x(at), y(value), at, value) for at, value in points),
        None if slope is None else _line(slope, begin, slope.end(end), x, y),
        x(now_us),
        end,
        None if not has_band else y(highest if high is None else high),
        None if not has_band else y(lowest if low is None else low),
    )


def _line(
    slope: Slope, begin: float, end: float, x: Callable[[float], float], y: Callable[[float], float]
) -> tuple[float, float, float, float]:
    return x(begin), y(slope.value_at(begin)), x(end), y(slope.value_at(end))

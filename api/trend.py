"""A small trend of one quantity as the path of an SVG drawing, made without any library."""

from collections.abc import Sequence
from dataclasses import dataclass

Point = tuple[int, float | None]
"""A moment [µs] and a value there; None where the instrument gave no number: the line breaks."""


@dataclass(frozen=True, slots=True)
class Trend:
    """A drawing of `width` by `height` units, and what a person must know to read it."""

    path: str
    """The ``d`` of an SVG path."""
    width: int
    height: int
    lowest: float
    highest: float
    last_x: float
    last_y: float


def trend(points: Sequence[Point], width: int = 320, height: int = 72) -> Trend | None:
    """Return the drawing of the points in the order of time, or None if there are fewer than two numbers."""
    values = [value for _, value in points if value is not None]
    if len(values) < 2:
        return None
    lowest, highest = min(values), max(values)
    begin, end = points[0][0], points[-1][0]

    def place(at: int, value: float) -> tuple[float, float]:
        x = 2 + (at - begin) / max(end - begin, 1) * (width - 4)
        # A value that does not move is drawn in the middle, not stretched to noise.
        share = (value - lowest) / (highest - lowest) if highest > lowest else 0.5
        return x, height - 4 - share * (height - 8)

    placed = [None if value is None else place(at, value) for at, value in points]
    last = next(spot for spot in reversed(placed) if spot is not None)
    return Trend(_path(placed), width, height, lowest, highest, *last)


def _path(placed: Sequence[tuple[float, float] | None]) -> str:
    parts: list[str] = []
    pen_down = False
    for spot in placed:
        if spot is not None:
            parts.append(f"{'L' if pen_down else 'M'}{spot[0]:.1f} {spot[1]:.1f}")
        pen_down = spot is not None
    return "".join(parts)

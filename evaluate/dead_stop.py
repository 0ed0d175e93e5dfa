"""Dead-stop end points: the current between two equal electrodes begins, or ceases, to flow."""

import math
from itertools import accumulate
from typing import Final

from evaluate.checks import not_negative
from evaluate.curve import Curve
from evaluate.curve_line import Line, fit_line
from evaluate.end_point import Direction, EndPoint, EndPointLimits, EndPoints, Mark, Method, NoEndPoint

FLAT_POINTS: Final = 3  # [1]; fewest readings on the flat branch
STEEP_POINTS: Final = 4  # [1]; fewest readings on the steep branch
FLAT_SHARE: Final = (
    0.25  # slope of the flat branch over the steep one, at most [1]; setting, a drifting baseline
)
LEAST_TO_NOISE: Final = 6.0  # what the steep branch gains over the scatter about it [1]; setting


def dead_stop_branches(
    curve: Curve, limits: EndPointLimits | None = None, *, skip_ml: float = 0.0
) -> EndPoints:
    """Return where the flat and the steep branch of a dead-stop curve cross.

    Parameters
    ----------
    curve : Curve
        Current against volume, at least three points on the flat branch and four on the steep one. [mL; µA]
    limits : EndPointLimits, optional
        RISING: flat, then rising (iodine into sulfite). FALLING: falling, then flat (thiosulfate into
        iodine). EITHER takes what the steeper branch shows.
    skip_ml : float
        Readings nearer than this to the crossing are left out of a second fit, where the bend is round. [mL]

    Returns
    -------
    EndPoints
        None with a reason, or one, with the step it lies in as bracket. [mL]

    Raises
    ------
    OutOfRangeError
        If `skip_ml` is negative or not finite.

    Notes
    -----
    Of all ways to cut the readings in two, the one whose two least-squares lines leave the least. Cut off a
    steep branch that levels out before passing the curve in. Dilution bends it a little: 1 mL past the end
    point in 25 mL moves the answer by up to 0.01 mL.

    References
    ----------
    .. [1] C. W. Foulk, A. T. Bawden, A new type of end-point in electrometric titration, J. Am. Chem. Soc. 48
       (1926) 2045. Status: principle published, evaluation by two lines common practice, no source.
    """
    limits = limits or EndPointLimits()
    skip_ml = not_negative("skip", skip_ml, "mL")
    if refusal := limits.unfit(curve, FLAT_POINTS + STEEP_POINTS):
        return EndPoints.none(Method.DEAD_STOP_BRANCHES, refusal)
    before, after = _two_lines(curve, _best_cut(curve))
    if words := _no_break(before, after, limits.direction):
        return EndPoints.none(Method.DEAD_STOP_BRANCHES, (NoEndPoint.NO_BREAK, words))
    if skip_ml > 0:
        return _fitted_again(curve, _crossing(before, after), skip_ml, limits)
    return _judged(curve, before, after, limits)


def _best_cut(curve: Curve) -> int:
    """Return how many points lie on the first branch where two lines leave the least."""
    middle_v, middle_y = math.fsum(curve.volume_ml) / len(curve), math.fsum(curve.signal) / len(curve)
    v, y = [value - middle_v for value in curve.volume_ml], [value - middle_y for value in curve.signal]
    products = (v, y, [a * a for a in v], [a * b for a, b in zip(v, y, strict=True)], [b * b for b in y])
    sums = [tuple(row) for row in zip(*(accumulate(p, initial=0.0) for p in products), strict=True)]
    cuts = range(FLAT_POINTS, len(curve) - FLAT_POINTS + 1)
    return min(cuts, key=lambda cut: _left_over(sums, 0, cut) + _left_over(sums, cut, len(curve)))


def _left_over(sums: list[tuple[float, ...]], first: int, end: int) -> float:
    """Return the squares about the line through the points from `first` to before `end`."""
    n = end - first
    v, y, vv, vy, yy = (high - low for high, low in zip(sums[end], sums[first], strict=True))
    return yy - y * y / n - (vy - v * y / n) ** 2 / (vv - v * v / n)


def _two_lines(curve: Curve, cut: int) -> tuple[Line, Line]:
    v, y = curve.volume_ml, curve.signal
    return fit_line(v[:cut], y[:cut]), fit_line(v[cut:], y[cut:])


def _no_break(before: Line, after: Line, direction: Direction) -> str:
    """Return why two lines are no dead stop, empty if they are."""
    flat, steep = (before, after) if abs(after.slope) > abs(before.slope) else (after, before)
    shown = Direction.RISING if steep is after else Direction.FALLING
    if (steep.slope > 0) is not (shown is Direction.RISING):
        return f"the steep branch has a slope of {steep.slope:g} per mL, which is no dead stop"
    if direction not in {Direction.EITHER, shown}:
        return f"the curve is {shown}, {direction} is expected"
    if abs(flat.slope) > FLAT_SHARE * abs(steep.slope) or steep.n < STEEP_POINTS:
        return f"slopes are {before.slope:g} and {after.slope:g} per mL; one branch should be flat"
    gain = abs(steep.slope) * math.sqrt(12 * steep.squares_x / steep.n)  # over the branch, evenly read
    if gain < LEAST_TO_NOISE * max(flat.residual_sd, steep.residual_sd):
        return f"the steep branch gains {gain:g}, its scatter is {steep.residual_sd:g}"
    return ""


def _crossing(one: Line, two: Line) -> float:
    return (one.intercept - two.intercept) / (two.slope - one.slope)


def _fitted_again(curve: Curve, crossing_ml: float, skip_ml: float, limits: EndPointLimits) -> EndPoints:
    one = curve.between(-math.inf, crossing_ml - skip_ml)
    two = curve.between(crossing_ml + skip_ml, math.inf)
    if min(len(one), len(two)) < FLAT_POINTS:
        words = f"only {len(one)} points before and {len(two)} after lie {skip_ml:g} mL from the crossing"
        return EndPoints.none(Method.DEAD_STOP_BRANCHES, (NoEndPoint.TOO_FEW_POINTS, words))
    return _judged(curve, fit_line(one.volume_ml, one.signal), fit_line(two.volume_ml, two.signal), limits)


def _judged(curve: Curve, before: Line, after: Line, limits: EndPointLimits) -> EndPoints:
    volume_ml = _crossing(before, after)
    if not curve.volume_ml[0] < volume_ml < curve.volume_ml[-1]:
        words = f"the branches cross at {volume_ml:g} mL, outside the readings"
        return EndPoints.none(Method.DEAD_STOP_BRANCHES, (NoEndPoint.NO_BREAK, words))
    i = curve.bracket(volume_ml)
    low, high = curve.volume_ml[i], curve.volume_ml[i + 1]
    if refusal := limits.too_wide(low, high):
        return EndPoints.none(Method.DEAD_STOP_BRANCHES, refusal)
    scatter = max(before.residual_sd, after.residual_sd)
    to_noise = curve.span / scatter if scatter > 0 else math.inf
    marks = (Mark.WIDE_BRACKET,) if limits.is_wide(low, high) else ()
    slope = max(before.slope, after.slope, key=abs)
    point = EndPoint(
        volume_ml, before.at(volume_ml), low, high, Method.DEAD_STOP_BRANCHES, slope, to_noise, marks
    )
    return EndPoints(Method.DEAD_STOP_BRANCHES, (point,))

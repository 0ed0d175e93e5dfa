"""End points at the steepest places of a curve: largest first derivative, zero of the second."""

import math
from collections.abc import Callable
from typing import Final

from evaluate.curve import Curve
from evaluate.curve_slopes import Slopes
from evaluate.end_point import EndPoint, EndPointLimits, EndPoints, Mark, Method, NoEndPoint, Refusal
from evaluate.statistics import median

LEAST_POINTS: Final = 5  # [1]; the steepest step, one on either side, and one more to be steeper than
TIE_SHARE: Final = (
    0.98  # a neighbour this steep is a tie [1]; setting, published ties differ by 0.2 and 0.7 %
)
LEAST_TO_MEDIAN: Final = 3.0  # steepest over median slope below which no jump stands out [1]; setting
LEAST_TO_NOISE: Final = 8.0  # rise over noise below which there is no jump [1]; setting
CLEAR_TO_NOISE: Final = 30.0  # rise over noise below which an end point is marked noisy [1]; setting


def first_derivative_end_points(curve: Curve, limits: EndPointLimits | None = None) -> EndPoints:
    """Return the mid-volumes of the steepest steps.

    Parameters
    ----------
    curve : Curve
        Five or more points, three or more on either side of the jump. [mL; pH or mV]
    limits : EndPointLimits, optional
        What the curve must show.

    Returns
    -------
    EndPoints
        None with a reason, one, or several in order. Each bracket spans the step; with its equally steep
        neighbour where there is a tie, which is then marked. [mL]

    Raises
    ------
    OutOfRangeError
        By the limits, when one of them makes no sense.

    Notes
    -----
    The slope of a step stands at its mid-volume [1]_, so the answer is known to half a step at best. A tie is
    decided by the larger figure and marked: on published tables it is wrong by half a step.

    References
    ----------
    .. [1] D. Harvey, Modern Analytical Chemistry, 2000, pp. 291-292, table 9.5. Status: published.
    """
    return _search(curve, limits or EndPointLimits(), Method.FIRST_DERIVATIVE, _steepest_mid)


def second_derivative_end_points(curve: Curve, limits: EndPointLimits | None = None) -> EndPoints:
    """Return the volumes at which the second derivative passes zero: the inflections of the jumps.

    Parameters
    ----------
    curve : Curve
        Five or more points, three or more on either side of the jump. [mL; pH or mV]
    limits : EndPointLimits, optional
        What the curve must show.

    Returns
    -------
    EndPoints
        None with a reason, one, or several in order, each with the step it lies in as bracket. [mL]

    Raises
    ------
    OutOfRangeError
        By the limits, when one of them makes no sense.

    Notes
    -----
    Differences of neighbouring slopes over the difference of their mid-volumes, and a straight line to zero
    between the two beside the largest slope [1]_. Where noise makes the slopes jagged, chords over two, three
    and more steps are taken until they rise to the jump and fall from it, and the zeros of all places where
    such chords can begin are averaged. The step across the end point sets the error, not the formula: on a
    wine-like curve within 0.012 mL at a step of 0.05 mL, 0.03 at 0.1, 0.07 at 0.2, 0.17 at 0.5.

    References
    ----------
    .. [1] D. Harvey, Modern Analytical Chemistry, 2000, pp. 291-292, table 9.5. Status: published.
    """
    return _search(curve, limits or EndPointLimits(), Method.SECOND_DERIVATIVE, _zero_of_second)


def _search(
    curve: Curve, limits: EndPointLimits, method: Method, place: Callable[[Slopes, int], float]
) -> EndPoints:
    """Find the jumps, place an end point in each, and keep those with enough points beside them."""
    if refusal := limits.unfit(curve, LEAST_POINTS):
        return EndPoints.none(method, refusal)
    slopes = Slopes.calm(curve, limits.sign(curve))
    if refusal := _no_jump(slopes):
        return EndPoints.none(method, refusal)
    peaks = [i for i in slopes.peaks(limits.least_share) if slopes.rise(i) >= LEAST_TO_NOISE * slopes.noise]
    points = [_end_point(slopes, i, place(slopes, i), method, limits) for i in peaks]
    lacks = [_lack(curve, point, limits) for point in points]
    kept = tuple(point for point, lack in zip(points, lacks, strict=True) if lack is None)
    return EndPoints(method, kept) if kept else EndPoints.none(method, next(filter(None, lacks)))


def _no_jump(slopes: Slopes) -> Refusal | None:
    top = slopes.top
    if top in {0, len(slopes.steep) - 1}:
        return NoEndPoint.EDGE, f"the steepest step, at {slopes.mid_ml[top]:.3f} mL, is the first or the last"
    steepest, usual = slopes.steep[top], median(slopes.steep)
    if steepest < LEAST_TO_MEDIAN * usual or steepest <= 0:
        return NoEndPoint.NO_JUMP, f"the steepest slope is {steepest:g} per mL, {usual:g} is usual here"
    rise, noise = slopes.rise(top), slopes.noise
    if rise < LEAST_TO_NOISE * noise:
        return NoEndPoint.NO_JUMP, f"the steepest part rises by {rise:g}, the noise is {noise:g}"
    return None


def _steepest_mid(slopes: Slopes, peak: int) -> float:
    return slopes.mid_ml[peak]


def _zero_of_second(slopes: Slopes, peak: int) -> float:
    zeros = [_zero_beside(slopes, slopes.highest(start)) for start in slopes.starts(peak)]
    return math.fsum(zeros) / len(zeros)


def _zero_beside(slopes: Slopes, top: int) -> float:
    """Return where the second derivative is zero, between its values before and after the steepest chord."""
    mid, steep = slopes.mid_ml, slopes.steep
    before, after = top - slopes.stride, top + slopes.stride
    if before < 0 or after >= len(steep):
        return mid[top]
    bend_before = (steep[top] - steep[before]) / (mid[top] - mid[before])
    bend_after = (steep[after] - steep[top]) / (mid[after] - mid[top])
    if bend_before == bend_after:
        return mid[top]
    share = bend_before / (bend_before - bend_after)
    at_before, at_after = (mid[before] + mid[top]) / 2, (mid[top] + mid[after]) / 2
    return at_before + share * (at_after - at_before)


def _end_point(
    slopes: Slopes, peak: int, volume_ml: float, method: Method, limits: EndPointLimits
) -> EndPoint:
    curve = slopes.curve
    tied = _tied_with(slopes, peak) if method is Method.FIRST_DERIVATIVE else None
    low, high = _step(curve, volume_ml) if tied is None else _two_steps(slopes, peak, tied)
    to_noise = slopes.rise(peak) / slopes.noise if slopes.noise > 0 else math.inf
    marks = {
        Mark.WIDE_BRACKET: limits.is_wide(low, high),
        Mark.TIED: tied is not None,
        Mark.NOISY: to_noise < CLEAR_TO_NOISE,
    }
    shown = tuple(mark for mark, holds in marks.items() if holds)
    slope = slopes.sign * slopes.steep[peak]
    return EndPoint(volume_ml, curve.at(volume_ml), low, high, method, slope, to_noise, shown)


def _step(curve: Curve, volume_ml: float) -> tuple[float, float]:
    i = curve.bracket(volume_ml)
    return curve.volume_ml[i], curve.volume_ml[i + 1]


def _two_steps(slopes: Slopes, one: int, other: int) -> tuple[float, float]:
    volumes = slopes.curve.volume_ml
    return volumes[min(one, other)], volumes[max(one, other) + slopes.stride]


def _tied_with(slopes: Slopes, peak: int) -> int | None:
    """Return the neighbour that is as steep as the peak, if one is."""
    beside = max(peak - 1, peak + 1, key=slopes.steep.__getitem__)
    return beside if slopes.steep[beside] >= TIE_SHARE * slopes.steep[peak] else None


def _lack(curve: Curve, point: EndPoint, limits: EndPointLimits) -> Refusal | None:
    """Return why an end point may not be reported, if it may not."""
    at, wanted = f"{point.volume_ml:.3f} mL", limits.points_each_side
    before = sum(volume < point.volume_ml for volume in curve.volume_ml)
    after = len(curve) - before
    if before < wanted:
        return NoEndPoint.TOO_FEW_BEFORE, f"{before} points before {at}, {wanted} are wanted"
    if after < wanted:
        return NoEndPoint.TOO_FEW_AFTER, f"{after} points after {at}, {wanted} are wanted"
    return limits.too_wide(point.low_ml, point.high_ml)

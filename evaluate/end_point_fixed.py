"""The end point at a set value: the volume at which a curve reaches a pH or a potential."""

import math
from itertools import pairwise
from typing import Final

from evaluate.checks import finite, not_negative
from evaluate.curve import Curve
from evaluate.end_point import EndPoint, EndPointLimits, EndPoints, Mark, Method, NoEndPoint

LEAST_POINTS: Final = 2  # [1]; the two readings that bracket the value


def fixed_value_end_point(
    curve: Curve,
    target: float,
    limits: EndPointLimits | None = None,
    *,
    same_crossing_ml: float = 0.05,
) -> EndPoints:
    """Return the volume at which the signal reaches a set value.

    Parameters
    ----------
    curve : Curve
        Two or more points that bracket the value. [mL; unit of the signal]
    target : float
        Value to reach, such as pH 8.2. [unit of the signal]
    limits : EndPointLimits, optional
        What the curve must show; points on each side are not asked for.
    same_crossing_ml : float
        Crossings up and down within this volume are one crossing through noise: the middle one counts, all of
        them lie in the bracket, and the end point is marked noisy. [mL]

    Returns
    -------
    EndPoints
        None with a reason, or one. A value that is crossed again further on gives none. [mL]

    Raises
    ------
    OutOfRangeError
        If the target is not finite or `same_crossing_ml` negative.

    Notes
    -----
    A straight line between the two readings. On a wine-like curve read every 0.1 mL it is up to 0.01 mL low
    at pH 7.0 and up to 0.036 mL low at pH 8.2. The width of the step sets the error, not the interpolation.

    References
    ----------
    .. [1] Straight-line interpolation. Status: common practice, no source.
    """
    limits = limits or EndPointLimits()
    target, same_crossing_ml = finite("target", target), not_negative("same crossing", same_crossing_ml, "mL")
    if refusal := limits.unfit(curve, LEAST_POINTS):
        return EndPoints.none(Method.FIXED_VALUE, refusal)
    sign = limits.sign(curve)
    beyond = [sign * (value - target) for value in curve.signal]
    steps = [i for i, (one, two) in enumerate(pairwise(beyond)) if (one < 0) != (two < 0)]
    if not steps or beyond[0] > 0 > beyond[-1]:
        return _not_crossed(curve, beyond, target, limits)
    crossings = [_crossing(curve, beyond, step) for step in steps]
    if len(crossings) % 2 == 0 or crossings[-1] - crossings[0] > same_crossing_ml:
        words = f"{target:g} is crossed {len(crossings)} times from {crossings[0]:.3f} mL on"
        return EndPoints.none(Method.FIXED_VALUE, (NoEndPoint.CROSSED_AGAIN, words))
    return _judged(curve, crossings[len(crossings) // 2], steps, limits)


def _crossing(curve: Curve, beyond: list[float], step: int) -> float:
    share = beyond[step] / (beyond[step] - beyond[step + 1])
    return curve.volume_ml[step] + share * (curve.volume_ml[step + 1] - curve.volume_ml[step])


def _not_crossed(curve: Curve, beyond: list[float], target: float, limits: EndPointLimits) -> EndPoints:
    if beyond[0] == 0:
        return _judged(curve, curve.volume_ml[0], [0], limits)
    if beyond[0] > 0:
        words = f"the first reading is {curve.signal[0]:g}, beyond {target:g}"
        return EndPoints.none(Method.FIXED_VALUE, (NoEndPoint.STARTS_BEYOND, words))
    words = f"the last reading is {curve.signal[-1]:g}, {target:g} is not reached"
    return EndPoints.none(Method.FIXED_VALUE, (NoEndPoint.NEVER_REACHED, words))


def _judged(curve: Curve, volume_ml: float, steps: list[int], limits: EndPointLimits) -> EndPoints:
    low, high = curve.volume_ml[steps[0]], curve.volume_ml[steps[-1] + 1]
    if refusal := limits.too_wide(low, high):
        return EndPoints.none(Method.FIXED_VALUE, refusal)
    rise = curve.at(high) - curve.at(low)
    noise = curve.noise()
    marks = {Mark.WIDE_BRACKET: limits.is_wide(low, high), Mark.NOISY: len(steps) > 1}
    shown = tuple(mark for mark, holds in marks.items() if holds)
    to_noise = abs(rise) / noise if noise > 0 else math.inf
    point = EndPoint(
        volume_ml, curve.at(volume_ml), low, high, Method.FIXED_VALUE, rise / (high - low), to_noise, shown
    )
    return EndPoints(Method.FIXED_VALUE, (point,))

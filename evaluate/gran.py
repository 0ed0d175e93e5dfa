"""End points by Gran's straight lines, which need no reading at the end point itself."""

import math
from enum import StrEnum
from typing import Final

from evaluate.checks import enough, in_range, positive
from evaluate.constants import FARADAY_C_PER_MOL, GAS_CONSTANT_J_PER_MOL_K, ZERO_CELSIUS_K
from evaluate.curve import Curve
from evaluate.curve_line import Line, fit_line
from evaluate.end_point import EndPoint, EndPointLimits, EndPoints, Mark, Method, NoEndPoint
from evaluate.errors import NotPredictableError

LEAST_POINTS: Final = 4  # [1]; two for either half of the line
MV_PER_V: Final = 1000.0  # [mV/V]; definition of the prefix
PKW_25: Final = 14.0  # [1]; rounded ion product of water at 25 degrees as the published tables use it
PH_LOW: Final = -1.0  # [pH]; lowest pH that is taken for a reading
PH_HIGH: Final = 15.0  # [pH]; highest pH that is taken for a reading


class GranKind(StrEnum):
    """What is left over in the flask on the side of the end point that is looked at."""

    ACID = "strong acid"
    BASE = "strong base"
    WEAK_ACID = "weak acid, before its end point"


def gran_values(curve: Curve, kind: GranKind, start_ml: float = 0.0, pkw: float = PKW_25) -> Curve:
    """Return what is left over at each point: a straight line that is zero at the end point.

    Parameters
    ----------
    curve : Curve
        pH against volume of titrant, shape ``(n,)``. [mL; pH]
    kind : GranKind
        ACID: ``(V0 + V) 10^-pH``. BASE: ``(V0 + V) 10^(pH - pKw)``. WEAK_ACID: ``V 10^-pH``.
    start_ml : float
        Volume in the flask before the first drop, V0. Not used for a weak acid. [mL]
    pkw : float
        Ion product of water, as its negative logarithm, 12 to 15. Used for a base alone. [1]

    Returns
    -------
    Curve
        Volume and what is left, shape ``(n,)``. Of a strong acid or base its slope is the concentration of
        the titrant, with the sign of the side. [mL; mmol, of a weak acid mL mol/L]

    Raises
    ------
    OutOfRangeError
        If a pH lies outside -1 to 15, the start volume is negative or pKw is outside its range.

    Notes
    -----
    Activity is taken for concentration. The weak acid's line bends where the acid dissociates by itself (far
    from the end point) and where water does (very near), so choose the points: 10 to 1 % before it serve.

    References
    ----------
    .. [1] G. Gran, Determination of the equivalence point in potentiometric titrations, part II, Analyst 77
       (1952) 661. Status: recalled; the formulas are seen in an encyclopaedia article on the Gran plot.
    """
    start_ml = in_range("start volume", start_ml, 0.0, math.inf, "mL")
    pkw = in_range("pKw", pkw, 12.0, 15.0)
    for ph in curve.signal:
        in_range("pH", ph, PH_LOW, PH_HIGH)
    points = zip(curve.volume_ml, curve.signal, strict=True)
    if kind is GranKind.WEAK_ACID:
        left = tuple(v * 10**-ph for v, ph in points)
    elif kind is GranKind.ACID:
        left = tuple((start_ml + v) * 10**-ph for v, ph in points)
    else:
        left = tuple((start_ml + v) * 10 ** (ph - pkw) for v, ph in points)
    return Curve(curve.volume_ml, left, curve.dropped)


def gran_values_of_potential(curve: Curve, start_ml: float, temperature_c: float, *, rises: bool) -> Curve:
    """Return what is left over at each point, from an electrode's potential without a calibration.

    Parameters
    ----------
    curve : Curve
        Potential of an electrode for a singly charged ion against volume, one point or more. [mL; mV]
    start_ml : float
        Volume in the flask before the first drop. [mL]
    temperature_c : float
        Temperature of the flask, 0 to 100. [°C]
    rises : bool
        Whether the potential rises with the concentration of the ion that is left over.

    Returns
    -------
    Curve
        ``(V0 + V) exp(±E F / R T)`` over its greatest exponential, shape ``(n,)``. Only its zero and its
        straightness mean something. [mL; mL]

    Raises
    ------
    OutOfRangeError
        If the start volume is negative or the temperature outside its range.
    TooFewPointsError
        If the curve is empty.

    Notes
    -----
    The slope of the electrode is taken as ideal; 1 % less slope moves the zero by less than 1 % of the
    distance from the points to it.

    References
    ----------
    .. [1] A. G. Dickson, C. L. Sabine, J. R. Christian (editors), Guide to best practices for ocean CO2
       measurements, PICES special publication 3, 2007, SOP 3b. Status: published (its data), formula common.
    """
    start_ml = in_range("start volume", start_ml, 0.0, math.inf, "mL")
    kelvin = in_range("temperature", temperature_c, 0.0, 100.0, "°C") + ZERO_CELSIUS_K
    enough("points of a Gran line", len(curve), 1)
    per_mv = FARADAY_C_PER_MOL / (GAS_CONSTANT_J_PER_MOL_K * kelvin * MV_PER_V)
    exponents = [(per_mv if rises else -per_mv) * mv for mv in curve.signal]
    highest = max(exponents)
    left = tuple(
        (start_ml + v) * math.exp(e - highest) for v, e in zip(curve.volume_ml, exponents, strict=True)
    )
    return Curve(curve.volume_ml, left, curve.dropped)


def gran_end_point(
    values: Curve,
    limits: EndPointLimits | None = None,
    *,
    least_r_squared: float = 0.999,
    slope: float | None = None,
    slope_share: float = 0.1,
) -> EndPoints:
    """Return where a Gran line reaches zero.

    Parameters
    ----------
    values : Curve
        What is left over, of one side of the end point: four or more points. [mL; any unit]
    limits : EndPointLimits, optional
        Its span and gap limits hold here too; the gap is the bracket described below.
    least_r_squared : float
        Linearity guard: share of the squares that the line must explain, 0 to 1. [1]
    slope : float, optional
        Slope that theory asks for, with its sign: the titrant's concentration for a strong acid or base, less
        than zero before the end point. Not checked if left out. [unit of the values per mL]
    slope_share : float
        Allowed departure from that slope as a share of it. [1]

    Returns
    -------
    EndPoints
        None with a reason, or one. Its bracket runs over the zeros of all points and of either half of them:
        how far the choice of points moves the answer. [mL]

    Raises
    ------
    OutOfRangeError
        If a limit makes no sense.

    Notes
    -----
    A good line does not prove a right answer: acid-base pairs that theory leaves out (bisulfate in sea water)
    bias a line with an r² of 0.99999 by 0.15 to 0.37 % [1]_.

    References
    ----------
    .. [1] A. G. Dickson, C. L. Sabine, J. R. Christian (editors), Guide to best practices for ocean CO2
       measurements, PICES special publication 3, 2007, SOP 3b. Status: published.
    """
    limits = limits or EndPointLimits()
    in_range("least r squared", least_r_squared, 0.0, 1.0)
    positive("slope share", slope_share)
    if refusal := limits.unfit(values, LEAST_POINTS):
        return EndPoints.none(Method.GRAN, refusal)
    line = fit_line(values.volume_ml, values.signal)
    if line.r_squared < least_r_squared:
        words = f"r² is {line.r_squared:.5f}, at least {least_r_squared:g} is wanted; choose other points"
        return EndPoints.none(Method.GRAN, (NoEndPoint.NOT_STRAIGHT, words))
    if slope is not None and abs(line.slope - slope) > slope_share * abs(slope):
        words = f"the slope is {line.slope:g}, theory asks for {slope:g} within {slope_share:.0%}"
        return EndPoints.none(Method.GRAN, (NoEndPoint.WRONG_SLOPE, words))
    return _judged(values, line, limits)


def _judged(values: Curve, line: Line, limits: EndPointLimits) -> EndPoints:
    zero = _zero(line)
    zeros = (zero, *_zeros_of_halves(values))
    low, high = min(zeros), max(zeros)
    if not math.isfinite(zero):
        return EndPoints.none(Method.GRAN, (NoEndPoint.WRONG_SLOPE, "the line is level and has no zero"))
    if refusal := limits.too_wide(low, high):
        return EndPoints.none(Method.GRAN, refusal)
    first, last = values.volume_ml[0], values.volume_ml[-1]
    marks = {
        Mark.WIDE_BRACKET: limits.is_wide(low, high),
        Mark.FAR_EXTRAPOLATION: max(first - zero, zero - last) > last - first,
    }
    shown = tuple(mark for mark, holds in marks.items() if holds)
    to_noise = values.span / line.residual_sd if line.residual_sd > 0 else math.inf
    point = EndPoint(zero, 0.0, low, high, Method.GRAN, line.slope, to_noise, shown)
    return EndPoints(Method.GRAN, (point,))


def _zeros_of_halves(values: Curve) -> tuple[float, float]:
    half = len(values) // 2
    one = fit_line(values.volume_ml[:half], values.signal[:half])
    two = fit_line(values.volume_ml[half:], values.signal[half:])
    return _zero(one), _zero(two)


def _zero(line: Line) -> float:
    try:
        return line.reaches(0.0)
    except NotPredictableError:
        return math.inf

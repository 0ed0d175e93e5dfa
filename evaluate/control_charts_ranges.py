"""Limits of control charts that rest on ranges: moving ranges, replicates, means of groups."""

import math
from collections.abc import Iterable
from itertools import pairwise
from typing import Literal, NamedTuple

from evaluate.chart_constants import chart_constants
from evaluate.checks import finite, not_negative, positive
from evaluate.control_charts import ACTION_S, FEWEST_FOR_LIMITS, WARNING_S
from evaluate.series import series
from evaluate.statistics import mean


class MovingRangeLimits(NamedTuple):
    """Limits of a chart of single values and of its moving range, from neighbours."""

    centre: float
    mean_moving_range: float
    d2: float
    """The constant used: exact, or as printed."""
    low: float
    high: float
    range_high: float
    """Upper limit of the moving range; its lower limit is zero."""


class RangeLimits(NamedTuple):
    """Limits of a chart of the ranges of replicates; upper side only."""

    centre: float
    warning: float
    action: float


class GroupLimits(NamedTuple):
    """Limits of a chart of group means and of the chart of their spread beside it."""

    low: float
    high: float
    spread_low: float
    spread_high: float


def moving_range_limits(values: Iterable[float], *, d2: float | None = None) -> MovingRangeLimits:
    r"""Return the limits of single values from the ranges of neighbours.

    Parameters
    ----------
    values : iterable of float
        At least ten, in time order. [any unit]
    d2 : float, optional
        Mean range of two normal values; exact by default, give 1.128 to match printed examples. [1]

    Returns
    -------
    MovingRangeLimits
        Centre, limits, and the upper limit of the moving range. [same unit]

    Raises
    ------
    TooFewPointsError
        If there are fewer than ten values.
    OutOfRangeError
        If a value is not finite or `d2` not above zero.

    Notes
    -----
    :math:`\bar x \pm 3\,\overline{MR}/d_2` and :math:`D_4\,\overline{MR}`. Understates the scatter when
    neighbours are alike (see `autocorrelation_lag1`): not the default for controls of different days.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals control charts. Published;
           it uses
       d2 rounded to 1.128.
    """
    numbers = series("values", values, wanted=FEWEST_FOR_LIMITS)
    constants = chart_constants(2)
    divisor = constants.d2 if d2 is None else positive("d2", d2)
    mean_range = mean(abs(later - earlier) for earlier, later in pairwise(numbers))
    half = ACTION_S * mean_range / divisor
    centre = mean(numbers)
    return MovingRangeLimits(
        centre, mean_range, divisor, centre - half, centre + half, constants.range_high * mean_range
    )


def range_chart_limits(s_r: float, n: int = 2) -> RangeLimits:
    r"""Return the limits of a chart of the ranges of replicates whose repeatability is known.

    Parameters
    ----------
    s_r : float
        Standard deviation under repeatability conditions, above zero. [any unit]
    n : int
        Replicates, 2 to 25. [1]

    Returns
    -------
    RangeLimits
        Centre, upper warning and upper action limit; for duplicates 1.128, 2.833 and 3.686 times `s_r`. [same
        unit]

    Raises
    ------
    OutOfRangeError
        If `s_r` is not above zero or `n` outside its range.

    Notes
    -----
    :math:`d_2 s_r`, :math:`(d_2 + 2 d_3) s_r`, :math:`(d_2 + 3 d_3) s_r`. There is no lower limit for six
    replicates or fewer. Over a wide range of contents chart the difference in per cent of the mean instead.

    References
    ----------
    .. [1] Printed factors d2 + 3 d3 for n = 2 to 5, handbook table of factors for control charts. Published.
    .. [2] Nordtest TR 569, range chart of duplicates. Recalled.
    """
    constants = chart_constants(n)
    scale = positive("s_r", s_r)
    return RangeLimits(
        constants.d2 * scale,
        (constants.d2 + WARNING_S * constants.d3) * scale,
        (constants.d2 + ACTION_S * constants.d3) * scale,
    )


def group_limits(
    centre: float, mean_spread: float, n: int, *, spread: Literal["range", "deviation"], width_s: float = 3.0
) -> GroupLimits:
    r"""Return the limits of group means, and of their ranges or standard deviations.

    Parameters
    ----------
    centre : float
        Mean of the group means. [any unit]
    mean_spread : float
        Mean range, or mean standard deviation, of the groups, not negative. [same unit]
    n : int
        Values in a group, 2 to 25. [1]
    spread : {"range", "deviation"}
        What `mean_spread` is.
    width_s : float
        Half width of the limits, 3 for action and 2 for warning. [standard deviations]

    Returns
    -------
    GroupLimits
        Limits of the mean and of the spread. [same unit]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    For ranges :math:`\bar{\bar x} \pm k \bar R/(d_2 \sqrt n)` and :math:`\bar R (1 \pm k d_3/d_2)`; for
    deviations :math:`\bar{\bar x} \pm k \bar s/(c_4 \sqrt n)` and :math:`\bar s (1 \pm k \sqrt{1 -
    c_4^2}/c_4)`. Lower limits below zero become zero.

    References
    ----------
    .. [1] D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers, 3rd ed., charts
           for the
       mean, R and S. Published.
    """
    constants = chart_constants(n)
    middle, size = finite("centre", centre), not_negative("mean_spread", mean_spread)
    width = positive("width_s", width_s)
    divisor, scatter = (
        (constants.d2, constants.d3) if spread == "range" else (constants.c4, math.sqrt(1 - constants.c4**2))
    )
    half = width * size / (divisor * math.sqrt(n))
    relative = width * scatter / divisor
    return GroupLimits(middle - half, middle + half, size * max(0.0, 1 - relative), size * (1 + relative))

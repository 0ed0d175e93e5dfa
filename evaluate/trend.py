"""A straight line through the values of a lot: how fast they change, and when they cross a limit."""

import math
from typing import TYPE_CHECKING, Final, NamedTuple

from evaluate.checks import all_in_range, enough, finite, interval_probability
from evaluate.errors import NotPredictableError, OutOfRangeError
from evaluate.series import MAGNITUDE_LIMIT, series

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

DEFAULT_PROBABILITY: Final = 0.95  # [1] of an interval; common practice
FEWEST_POINTS: Final = 3  # [1] two points leave no scatter to judge by; arithmetic


class Trend(NamedTuple):
    """A least-squares line through points, and what its scatter allows to say."""

    mean_x: float
    mean_y: float
    slope: float
    """[unit of y per unit of x]"""
    residual_s: float
    """Residual standard deviation, n - 2 degrees of freedom. [unit of y]"""
    sum_squares_x: float
    """Sum of the squared distances of x from its mean. [unit of x, squared]"""
    r_squared: float
    n: int
    first_x: float
    last_x: float

    @property
    def intercept(self) -> float:
        """The line's value at x = 0. [unit of y]"""
        return self.mean_y - self.slope * self.mean_x

    @property
    def slope_s(self) -> float:
        """Standard error of the slope. [unit of y per unit of x]"""
        return self.residual_s / math.sqrt(self.sum_squares_x)

    @property
    def intercept_s(self) -> float:
        """Standard error of the intercept. [unit of y]"""
        return self.residual_s * math.sqrt(1 / self.n + self.mean_x**2 / self.sum_squares_x)


class Rate(NamedTuple):
    """A rate of loss with its interval; negative for a gain."""

    per_day: float
    low: float
    high: float

    @property
    def is_certain(self) -> bool:
        """Whether the interval leaves out zero, so that the direction of the change is known."""
        return not self.low <= 0 <= self.high


class Band(NamedTuple):
    """Forecast values and the interval of a single further measurement; arrays of one shape."""

    value: "NDArray[np.float64]"
    low: "NDArray[np.float64]"
    high: "NDArray[np.float64]"


class Crossing(NamedTuple):
    """When a line reaches a level. The ends of the interval are None where the data set no bound."""

    at: float
    earliest: float | None
    latest: float | None


def straight_line(x: "ArrayLike", y: "ArrayLike") -> Trend:
    r"""Return the least-squares line through points.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        At least three, not all equal; for a lot the days since any first day. [unit of x]
    y : array_like of float, shape (n,)
        What was measured. [unit of y]

    Returns
    -------
    Trend
        Slope, intercept, their standard errors and the residual scatter. [units of y and x]

    Raises
    ------
    TooFewPointsError
        If there are fewer than three points.
    OutOfRangeError
        If a number is not finite, all x are equal, or the shapes differ.

    Notes
    -----
    Sums of distances from the means, added without rounding between. Assumes x exact and one scatter for all
    y. Leave out what came before the last addition: a step is not a slope.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, linear regression, Norris. Published.
    """
    from numpy import ravel

    xs, ys = series("x", ravel(x).tolist(), FEWEST_POINTS), series("y", ravel(y).tolist(), FEWEST_POINTS)
    if len(xs) != len(ys):
        raise OutOfRangeError(f"x and y must pair up, not {len(xs)} and {len(ys)}", name="y", value=len(ys))
    mean_x, mean_y = math.fsum(xs) / len(xs), math.fsum(ys) / len(ys)
    dx, dy = [value - mean_x for value in xs], [value - mean_y for value in ys]
    sxx = math.fsum(d * d for d in dx)
    if sxx == 0:
        raise OutOfRangeError(
            "all x are equal: a trend needs points at different times", name="x", value=xs[0]
        )
    slope = math.fsum(a * b for a, b in zip(dx, dy, strict=True)) / sxx
    residual = math.fsum((b - slope * a) ** 2 for a, b in zip(dx, dy, strict=True))
    syy = math.fsum(d * d for d in dy)
    return Trend(
        mean_x=mean_x,
        mean_y=mean_y,
        slope=slope,
        residual_s=math.sqrt(residual / (len(xs) - 2)),
        sum_squares_x=sxx,
        r_squared=1 - residual / syy if syy > 0 else 1.0,
        n=len(xs),
        first_x=min(xs),
        last_x=max(xs),
    )


def loss_rate(trend: Trend, *, probability: float = DEFAULT_PROBABILITY) -> Rate:
    r"""Return how much is lost a day, with its interval.

    Parameters
    ----------
    trend : Trend
        Line through the values of a lot, x in days.
    probability : float
        Of the interval, 0.5 to 0.9999. [1]

    Returns
    -------
    Rate
        The slope with its sign turned; negative for a gain. [unit of y per day]

    Raises
    ------
    OutOfRangeError
        If `probability` is outside its range.

    Notes
    -----
    :math:`-b \pm t\,s/\sqrt{S_{xx}}`. A loss that is even over the time of the points; free sulfur dioxide
    is lost faster after racking, bottling or any contact with air.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, linear regression, Norris, standard deviation of the slope.
       Published.
    """
    half = _student(trend, probability) * trend.slope_s
    return Rate(-trend.slope, -trend.slope - half, -trend.slope + half)


def forecast(trend: Trend, x: "ArrayLike", *, probability: float = DEFAULT_PROBABILITY) -> Band:
    r"""Return what a further measurement will show, with its prediction interval.

    Parameters
    ----------
    trend : Trend
        Line through the values so far.
    x : array_like of float, any shape
        Where to look. [unit of x]
    probability : float
        That one further measurement lies in the interval, 0.5 to 0.9999. [1]

    Returns
    -------
    Band
        Value and interval, of the shape of `x`. [unit of y]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    :math:`\bar y + b u \pm t s \sqrt{1 + 1/n + u^2/S_{xx}}` with :math:`u = x - \bar x`. Valid while nothing
    is added and the lot is kept as it was.

    References
    ----------
    .. [1] N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998, section 3.1, prediction of a
           single
       value. Recalled.
    """
    import numpy as np

    u = all_in_range("x", x, -MAGNITUDE_LIMIT, MAGNITUDE_LIMIT) - trend.mean_x
    value = trend.mean_y + trend.slope * u
    scale = np.sqrt(1 + 1 / trend.n + u**2 / trend.sum_squares_x)
    half = _student(trend, probability) * trend.residual_s * scale
    return Band(value, value - half, value + half)


def crossing(trend: Trend, level: float, *, probability: float = DEFAULT_PROBABILITY) -> Crossing:
    r"""Return when the line reaches a level, with the interval in which a measurement would.

    Parameters
    ----------
    trend : Trend
        Line through the values of a lot, x in days.
    level : float
        An end of the band the lot is to stay in. [unit of y]
    probability : float
        Of the prediction interval, 0.5 to 0.9999. [1]

    Returns
    -------
    Crossing
        When the line, and when either edge of the prediction interval, reaches the level; an end is None if
        its edge never does. [unit of x]

    Raises
    ------
    NotPredictableError
        If the line is level, or moves away from `level` and met it, if ever, before the first point.
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    The edges meet the level where :math:`(\bar y + b u - L)^2 = t^2 s^2 (1 + 1/n + u^2/S_{xx})`, a quadratic
    in :math:`u = x - \bar x`. If the slope cannot be told from zero, the later edge turns back before it
    gets there: the earliest date stands alone.

    References
    ----------
    .. [1] E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175, interval of a ratio. Recalled.
    """
    wanted = finite("level", level)
    q = (_student(trend, probability) * trend.residual_s) ** 2
    if trend.slope == 0:
        raise NotPredictableError("the values neither rise nor fall: they reach no other level", name="level")
    distance = trend.mean_y - wanted
    at = trend.mean_x - distance / trend.slope
    if at < trend.first_x:
        raise NotPredictableError(
            f"the line moves away from {wanted:g}; by its slope it was there before the first point",
            name="level",
            value=wanted,
        )
    earliest, latest = _edges(trend, distance, q)
    return Crossing(at, earliest, latest)


def _edges(trend: Trend, distance: float, q: float) -> tuple[float | None, float | None]:
    """Solve the quadratic of `crossing` in u and return the two edges as x."""
    a = trend.slope**2 - q / trend.sum_squares_x
    half_b = trend.slope * distance
    c = distance**2 - q * (1 + 1 / trend.n)
    root = half_b**2 - a * c
    if a > 0:
        width = math.sqrt(max(root, 0.0))  # below zero by rounding when the points lie exactly on the line
        return trend.mean_x + (-half_b - width) / a, trend.mean_x + (-half_b + width) / a
    if c <= 0:
        return None, None  # a measurement may meet the level at any time
    if half_b > 0:  # the level was met before the mean of the points: only the later edge is bounded
        return None, trend.mean_x - c / (half_b + math.sqrt(root))
    return trend.mean_x + c / (math.sqrt(root) - half_b), None


def _student(trend: Trend, probability: float) -> float:
    from scipy.special import stdtrit

    enough("points", trend.n, FEWEST_POINTS)
    tail = (1 - interval_probability(probability)) / 2
    return -float(stdtrit(trend.n - 2, tail))

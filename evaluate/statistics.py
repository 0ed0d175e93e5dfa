"""Mean, median, deviation and autocorrelation that keep their digits on hard data."""

import math
from collections.abc import Iterable
from itertools import pairwise
from typing import Final

from evaluate.errors import NotPredictableError
from evaluate.series import series

NORMAL_MAD: Final = 1.482602218505602  # [1] standard over median deviation of a normal law: 1/Phi^-1(3/4)


def mean(values: Iterable[float]) -> float:
    """Return the arithmetic mean.

    Parameters
    ----------
    values : iterable of float
        At least one, each finite and at most 1e150 in size. [any unit]

    Returns
    -------
    float
        The mean, correct to the last digit or one beside it. [unit of `values`]

    Raises
    ------
    OutOfRangeError
        If a value is not finite or too large.
    TooFewPointsError
        If there is none.

    Notes
    -----
    The sum is exact before it is rounded once, so the order of the values does not matter.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, univariate summary statistics, certified means. Published.
    """
    numbers = series("values", values)
    return math.fsum(numbers) / len(numbers)


def median(values: Iterable[float]) -> float:
    """Return the middle value, or the mean of the two middle values.

    Parameters
    ----------
    values : iterable of float
        At least one, each finite. [any unit]

    Returns
    -------
    float
        The median. [unit of `values`]

    Raises
    ------
    OutOfRangeError
        If a value is not finite or too large.
    TooFewPointsError
        If there is none.

    Notes
    -----
    Half of the values may be moved far away on one side without moving the median beyond the others.

    References
    ----------
    .. [1] ISO 3534-1, Statistics: vocabulary and symbols, sample median. Common definition, recalled.
    """
    ordered = sorted(series("values", values))
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle - 1] + ordered[middle]) / 2


def standard_deviation(values: Iterable[float]) -> float:
    r"""Return the sample standard deviation, with n - 1 in the denominator.

    Parameters
    ----------
    values : iterable of float
        At least two, each finite and at most 1e150 in size. [any unit]

    Returns
    -------
    float
        The standard deviation, never negative. [unit of `values`]

    Raises
    ------
    OutOfRangeError
        If a value is not finite or too large.
    TooFewPointsError
        If there are fewer than two.

    Notes
    -----
    Two passes: squares of the distances from the mean, corrected for the rounding of the mean,
    :math:`s^2 = (\sum d^2 - (\sum d)^2 / n)/(n - 1)`. The formula of one pass loses every digit when the
    mean is ten million times the deviation; this one keeps what the data themselves keep in binary.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, univariate summary statistics, certified standard deviations.
       Published.
    .. [2] T. F. Chan, G. H. Golub, R. J. LeVeque, Am. Stat. 37 (1983) 242, the corrected two-pass algorithm.
       Recalled.
    """
    numbers = series("values", values, wanted=2)
    centre = math.fsum(numbers) / len(numbers)
    distances = [number - centre for number in numbers]
    squares = math.fsum(distance * distance for distance in distances)
    correction = math.fsum(distances) ** 2 / len(numbers)
    return math.sqrt(max(squares - correction, 0.0) / (len(numbers) - 1))


def autocorrelation_lag1(values: Iterable[float]) -> float:
    r"""Return how much each value resembles the one before it.

    Parameters
    ----------
    values : iterable of float
        At least three in time order, not all equal. [any unit]

    Returns
    -------
    float
        The coefficient of autocorrelation at lag 1, -1 to 1. [1]

    Raises
    ------
    OutOfRangeError
        If a value is not finite or too large.
    TooFewPointsError
        If there are fewer than three.
    NotPredictableError
        If all values are equal.

    Notes
    -----
    :math:`r_1 = \sum (x_t - \bar x)(x_{t-1} - \bar x) / \sum (x_t - \bar x)^2`. Well above zero, neighbours
    are alike and a moving range understates the scatter between days.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, univariate summary statistics, certified lag-1 autocorrelation
       coefficients. Published.
    """
    numbers = series("values", values, wanted=3)
    centre = math.fsum(numbers) / len(numbers)
    distances = [number - centre for number in numbers]
    squares = math.fsum(distance * distance for distance in distances)
    if squares == 0:
        raise NotPredictableError("all values are equal: an autocorrelation needs values that differ")
    return math.fsum(earlier * later for earlier, later in pairwise(distances)) / squares

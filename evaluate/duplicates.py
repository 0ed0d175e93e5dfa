"""Replicates of one sample: do they agree, what is reported, what do many pairs say of the method."""

import math
from collections.abc import Iterable, Sequence
from enum import StrEnum
from functools import lru_cache
from typing import Final, NamedTuple

from evaluate.chart_constants import MOST_IN_A_GROUP, range_distribution
from evaluate.checks import in_range, positive
from evaluate.errors import OutOfRangeError
from evaluate.series import series
from evaluate.statistics import mean, median

_PROBABILITY: Final = 0.95  # [1] share of ranges within the critical range; ISO 5725-6
_FACTOR_DECIMALS: Final = 1  # [1] the factors are used with one decimal, 2.8 for a pair; ISO 5725-6
_WIDEST_FACTOR: Final = 8.0  # [s] the factor of 25 values is below 5.3; our choice for the search
_TIE: Final = 1e-9  # [1] relative; a range that equals its limit in decimals is within it in binary too


class Report(StrEnum):
    """What is to be done with replicates."""

    MEAN_OF_TWO = "mean of two"
    MEASURE_TWO_MORE = "measure two more"
    MEAN_OF_FOUR = "mean of four"
    MEDIAN_OF_FOUR = "median of four"


class ReplicateVerdict(NamedTuple):
    """Whether replicates agree, and the value to report."""

    report: Report
    value: float | None
    """None while more measurements are needed. [unit of the values]"""
    spread: float
    """Largest less smallest. [unit of the values]"""
    limit: float
    """What the spread was held against. [unit of the values]"""

    @property
    def flagged(self) -> bool:
        """Whether the report needs a mark: a median stands for values that did not agree."""
        return self.report is Report.MEDIAN_OF_FOUR


@lru_cache(maxsize=MOST_IN_A_GROUP)
def critical_range_factor(n: int) -> float:
    r"""Return the factor by which the range of `n` replicates may exceed the repeatability deviation.

    Parameters
    ----------
    n : int
        Replicates, 2 to 25. [1]

    Returns
    -------
    float
        The 95 % point of the range of n standard normal values, to 1e-9; 2.77 for a pair. [1]

    Raises
    ------
    OutOfRangeError
        If `n` is not a whole number of that range.

    Notes
    -----
    Solves :math:`P(W \le f) = 0.95`. In use the factor is rounded to one decimal, as in r = 2.8 s_r.

    References
    ----------
    .. [1] r = 2.8 s_r as in a national notice (66/2003, article 23) that quotes the analysis rules of the
           European
       Union. Published.
    .. [2] ISO 5725-6:1994, clause 5.2, critical range. Recalled.
    """
    import numpy as np
    from scipy.optimize import brentq

    in_range("n", n, 2, MOST_IN_A_GROUP)
    if n != int(n):
        raise OutOfRangeError(f"n must be a whole number of replicates, not {n}", name="n", value=n)

    def lacking(factor: float) -> float:
        return float(range_distribution(np.array([factor]), n)[0]) - _PROBABILITY

    return float(brentq(lacking, 0.0, _WIDEST_FACTOR))


def judge_replicates(values: Sequence[float], s_r: float) -> ReplicateVerdict:
    r"""Return whether two, or four, replicates agree and what to report.

    Parameters
    ----------
    values : sequence of float
        Two replicates; or those two and two more. [any unit]
    s_r : float
        Repeatability standard deviation of the method, above zero. [same unit]

    Returns
    -------
    ReplicateVerdict
        A pair within 2.8 `s_r`: its mean. Else two more are wanted. Four within 3.6 `s_r`: their mean, else
        their median, flagged. [same unit]

    Raises
    ------
    OutOfRangeError
        If there are neither two nor four values, one is not finite, or `s_r` not above zero.

    Notes
    -----
    Never chooses the nicer of two. Judge values as the instrument gave them, before rounding.

    References
    ----------
    .. [1] ISO 5725-6:1994, clause 5.2, checking acceptability of results under repeatability conditions.
           Recalled.
    """
    numbers = series("values", values)
    if len(numbers) not in (2, 4):
        raise OutOfRangeError(
            f"values: a pair, or the pair and two more, are judged, not {len(numbers)}",
            name="values",
            value=len(numbers),
            low=2,
            high=4,
        )
    limit = round(critical_range_factor(len(numbers)), _FACTOR_DECIMALS) * positive("s_r", s_r)
    spread = max(numbers) - min(numbers)
    report = _report(len(numbers), agree=spread <= limit * (1 + _TIE))
    return ReplicateVerdict(report, _value(report, numbers), spread, limit)


def repeatability_deviation(differences: Iterable[float]) -> float:
    r"""Return the repeatability standard deviation that the differences of many pairs show.

    Parameters
    ----------
    differences : iterable of float
        First less second of each pair, sign kept or not, at least two. [any unit]

    Returns
    -------
    float
        s_r. [same unit]

    Raises
    ------
    TooFewPointsError
        If there are fewer than two pairs.
    OutOfRangeError
        If a difference is not finite.

    Notes
    -----
    Pooled, :math:`s_r = \sqrt{\sum d^2/(2k)}`, which uses the pairs better than their mean range does.

    References
    ----------
    .. [1] Nordtest TR 569, web page on version 5.1: pool standard deviations for range charts. Published.
    """
    numbers = series("differences", differences, wanted=2)
    return math.sqrt(math.fsum(number * number for number in numbers) / (2 * len(numbers)))


def relative_difference(first: float, second: float) -> float:
    r"""Return how far two replicates are apart, in per cent of their mean.

    Parameters
    ----------
    first, second : float
        Both above zero. [any unit]

    Returns
    -------
    float
        :math:`100\,|x_1 - x_2|/\bar x`, 0 to 200. [%]

    Raises
    ------
    OutOfRangeError
        If one is not above zero or not finite.

    Notes
    -----
    For charts of duplicates over a wide range of contents. Near zero it says nothing: use the difference
    itself.

    References
    ----------
    .. [1] Relative percent difference, definition in quality assurance plans of public laboratories.
           Published.
    """
    a, b = positive("first", first), positive("second", second)
    return 100 * abs(a - b) / (a / 2 + b / 2)


def _report(count: int, *, agree: bool) -> Report:
    if count == 2:
        return Report.MEAN_OF_TWO if agree else Report.MEASURE_TWO_MORE
    return Report.MEAN_OF_FOUR if agree else Report.MEDIAN_OF_FOUR


def _value(report: Report, numbers: list[float]) -> float | None:
    if report is Report.MEASURE_TWO_MORE:
        return None
    return median(numbers) if report is Report.MEDIAN_OF_FOUR else mean(numbers)

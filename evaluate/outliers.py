"""Outlier tests that advise; nothing here removes a value."""

import math
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from evaluate.checks import enough, in_range
from evaluate.errors import NotPredictableError, OutOfRangeError
from evaluate.series import series
from evaluate.statistics import mean, standard_deviation

STRAGGLER_LEVEL: Final = 0.05  # [1] probability beyond which a value is a straggler; ISO 5725-2
OUTLIER_LEVEL: Final = 0.01  # [1] probability beyond which a value is an outlier; ISO 5725-2


class Advice(StrEnum):
    """What an outlier test says of the most distant value."""

    NONE = "none"
    STRAGGLER = "straggler"
    OUTLIER = "outlier"


class OutlierAdvice(NamedTuple):
    """The most distant value, or the group of largest scatter, and how unusual it is."""

    advice: Advice
    position: int
    """Which value or group, counted from 0."""
    statistic: float
    critical_5: float
    critical_1: float


def grubbs_critical(n: int, level: float, *, two_sided: bool = True) -> float:
    r"""Return the critical value of Grubbs' statistic for one outlier.

    Parameters
    ----------
    n : int
        Values, at least 3. [1]
    level : float
        Probability of a false alarm, 1e-6 to 0.5. [1]
    two_sided : bool
        True if either end is suspect, False if the end was chosen before looking.

    Returns
    -------
    float
        G beyond which the value is suspect. [1]

    Raises
    ------
    OutOfRangeError
        If a number is outside its range.

    Notes
    -----
    :math:`G = \frac{n-1}{\sqrt n} \sqrt{\frac{t^2}{n - 2 + t^2}}` with Student's t for n - 2 degrees of
    freedom at the upper tail level/(2n), one-sided level/n. For normal data.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1, Grubbs' test. Published.
    """
    from scipy.special import stdtrit

    count = _whole("n", n, 3)
    tail = in_range("level", level, 1e-6, 0.5) / (2 * count if two_sided else count)
    square = float(stdtrit(count - 2, tail)) ** 2
    return (count - 1) / math.sqrt(count) * math.sqrt(square / (count - 2 + square))


def grubbs_advice(values: Iterable[float]) -> OutlierAdvice:
    r"""Return what Grubbs' two-sided test says of the value farthest from the mean.

    Parameters
    ----------
    values : iterable of float
        Replicates, at least three. [any unit]

    Returns
    -------
    OutlierAdvice
        Straggler beyond the 5 % value, outlier beyond the 1 % value. [1]

    Raises
    ------
    TooFewPointsError
        If there are fewer than three values.
    OutOfRangeError
        If a value is not finite.

    Notes
    -----
    :math:`G = \max |x_i - \bar x| / s`, at most :math:`(n - 1)/\sqrt n`: with eight values 2.47, so a limit
    of three deviations would never speak. Advice only: a value leaves for a reason found at the bench.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1, Grubbs' test. Published.
    .. [2] ISO 5725-2:1994, clause 7.3.4, stragglers and outliers. Recalled.
    """
    numbers = series("values", values, wanted=3)
    centre, s = mean(numbers), standard_deviation(numbers)
    distances = [abs(number - centre) for number in numbers]
    statistic = max(distances) / s if s > 0 else 0.0
    return _advice(
        distances.index(max(distances)),
        statistic,
        grubbs_critical(len(numbers), STRAGGLER_LEVEL),
        grubbs_critical(len(numbers), OUTLIER_LEVEL),
    )


def cochran_critical(groups: int, n: int, level: float) -> float:
    r"""Return the critical value of Cochran's statistic for the largest of several variances.

    Parameters
    ----------
    groups : int
        Groups compared, at least 2. [1]
    n : int
        Replicates in each, at least 2. [1]
    level : float
        Probability of a false alarm, 1e-6 to 0.5. [1]

    Returns
    -------
    float
        C beyond which the largest variance is suspect. [1]

    Raises
    ------
    OutOfRangeError
        If a number is outside its range.

    Notes
    -----
    :math:`C = 1/(1 + (p - 1)/F)` with F at the upper tail level/p for n - 1 and (p - 1)(n - 1) degrees of
    freedom. For normal data.

    References
    ----------
    .. [1] ISO 5725-2:1994, clause 7.3.3 and table 4. Recalled; the values are computed.
    """
    from scipy.special import fdtri

    p, size = _whole("groups", groups, 2), _whole("n", n, 2)
    tail = in_range("level", level, 1e-6, 0.5) / p
    # The upper tail of F is taken as the lower tail of its inverse, which keeps the digits of a small level.
    inverse = float(fdtri((p - 1) * (size - 1), size - 1, tail))
    return 1 / (1 + (p - 1) * inverse)


def cochran_advice(groups: Sequence[Sequence[float]]) -> OutlierAdvice:
    r"""Return what Cochran's test says of the group with the largest scatter.

    Parameters
    ----------
    groups : sequence of sequences of float
        At least two groups of equal size, at least two replicates in each. [any unit]

    Returns
    -------
    OutlierAdvice
        Straggler beyond the 5 % value, outlier beyond the 1 % value. [1]

    Raises
    ------
    TooFewPointsError
        If there are too few groups or replicates.
    OutOfRangeError
        If a value is not finite or the groups differ in size.
    NotPredictableError
        If no group shows any scatter.

    Notes
    -----
    :math:`C = s_{max}^2/\sum s_i^2`. Advice only.

    References
    ----------
    .. [1] ISO 5725-2:1994, clause 7.3.3. Recalled.
    """
    enough("groups", len(groups), 2)
    sizes = {len(group) for group in groups}
    if len(sizes) >= 2:
        raise OutOfRangeError(
            f"groups must have one size, not {sorted(sizes)}", name="groups", value=len(sizes)
        )
    variances = [standard_deviation(group) ** 2 for group in groups]
    total = math.fsum(variances)
    if total == 0:
        raise NotPredictableError("no group shows any scatter: there is nothing to compare")
    return _advice(
        variances.index(max(variances)),
        max(variances) / total,
        cochran_critical(len(groups), len(groups[0]), STRAGGLER_LEVEL),
        cochran_critical(len(groups), len(groups[0]), OUTLIER_LEVEL),
    )


def _advice(position: int, statistic: float, critical_5: float, critical_1: float) -> OutlierAdvice:
    if statistic > critical_1:
        advice = Advice.OUTLIER
    else:
        advice = Advice.STRAGGLER if statistic > critical_5 else Advice.NONE
    return OutlierAdvice(advice, position, statistic, critical_5, critical_1)


def _whole(name: str, value: int, low: int) -> int:
    number = in_range(name, value, low, math.inf)
    if number != int(number):
        raise OutOfRangeError(f"{name} must be a whole number, not {value}", name=name, value=value)
    return int(number)

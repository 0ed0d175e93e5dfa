"""Limits of control charts: single values, moving ranges, replicates and means of groups."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from evaluate.chart_constants import chart_constants
from evaluate.checks import all_in_range, finite, not_negative, positive
from evaluate.errors import NotPredictableError
from evaluate.series import MAGNITUDE_LIMIT, series
from evaluate.statistics import mean, standard_deviation

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

FEWEST_FOR_LIMITS: Final = 10  # [1] values below which no limits are set; house rule
FEWEST_FOR_ESTABLISHED: Final = 25  # [1] values from which limits count as firm; common practice
WARNING_S: Final = 2.0  # [s] distance of the warning limits; IUPAC gold book, mean control chart
ACTION_S: Final = 3.0  # [s] distance of the action limits; IUPAC gold book, mean control chart
COARSEST_STEP_S: Final = (
    1 / 3
)  # [s] coarser steps of an instrument make ties that spoil runs; common practice
_SCORE_DECIMALS: Final = 9  # [1] a score is rounded so that a value exactly on a limit is not beyond it


class LimitState(StrEnum):
    """How firm limits are."""

    PRELIMINARY = "preliminary"
    ESTABLISHED = "established"
    GIVEN = "given"


@dataclass(frozen=True, slots=True)
class Limits:
    """Centre and standard deviation of a chart of single values, and the limits that follow."""

    centre: float
    s: float
    """Standard deviation between days. [unit of the values]"""
    count: int | None = None
    """How many values the limits were estimated from; None when they were given."""

    def __post_init__(self) -> None:
        finite("centre", self.centre)
        positive("s", self.s)

    @property
    def state(self) -> LimitState:
        """Given, or estimated from few or from enough values."""
        if self.count is None:
            return LimitState.GIVEN
        return LimitState.ESTABLISHED if self.count >= FEWEST_FOR_ESTABLISHED else LimitState.PRELIMINARY

    @property
    def warning(self) -> tuple[float, float]:
        """Lower and upper warning limit."""
        return self._around(WARNING_S)

    @property
    def action(self) -> tuple[float, float]:
        """Lower and upper action limit."""
        return self._around(ACTION_S)

    def is_too_coarse(self, step: float) -> bool:
        """Tell whether an instrument's step is so coarse against `s` that ties make the rules meaningless."""
        return positive("step", step) > self.s * COARSEST_STEP_S

    def _around(self, distance_s: float) -> tuple[float, float]:
        half = self.s * self._multiplier(distance_s)
        return self.centre - half, self.centre + half

    def _multiplier(self, distance_s: float) -> float:
        if self.count is None or self.state is not LimitState.PRELIMINARY:
            return distance_s
        from scipy.special import ndtr, stdtrit

        return -float(stdtrit(self.count - 1, ndtr(-distance_s)))


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


def limits_from_history(values: Iterable[float], *, reference: float | None = None) -> Limits:
    """Return the limits of a chart of single control values from values of different days.

    Parameters
    ----------
    values : iterable of float
        At least ten, from different days, excluding none for being outside. [any unit]
    reference : float, optional
        Assigned value of the control; it becomes the centre, so that a small bias stays visible. [same unit]

    Returns
    -------
    Limits
        Warning at 2 s and action at 3 s; with 10 to 24 values at the multiples of Student's t that have the
        same probability. [same unit]

    Raises
    ------
    TooFewPointsError
        If there are fewer than ten values.
    OutOfRangeError
        If a value or the reference is not finite.
    NotPredictableError
        If all values are equal, so that there is no scatter to set limits by.

    Notes
    -----
    s is the sample standard deviation (n - 1), not that of a moving range: it must include the drift from
    day to day. With ten values the limits lie at 2.32 s and 4.09 s.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.5.2, limits of check standards from t.
           Published.
    .. [2] IUPAC Compendium of Chemical Terminology, mean control chart: 2 and 3 standard deviations.
           Published.
    """
    numbers = series("values", values, wanted=FEWEST_FOR_LIMITS)
    s = standard_deviation(numbers)
    if s == 0:
        raise NotPredictableError("all values are equal: give s, or record the control with more digits")
    centre = mean(numbers) if reference is None else finite("reference", reference)
    return Limits(centre, s, len(numbers))


def standard_scores(values: "ArrayLike", limits: Limits) -> "NDArray[np.float64]":
    r"""Return how many standard deviations each value lies from the centre.

    Parameters
    ----------
    values : array_like of float, any shape
        Control values; nan stands for a missing one and stays nan. [unit of `limits`]
    limits : Limits
        Those in force when the values were made.

    Returns
    -------
    array of float, same shape
        Scores rounded to nine decimals, 2 on the warning limit and 3 on the action limit. [1]

    Raises
    ------
    OutOfRangeError
        If a value is infinite or too large.

    Notes
    -----
    :math:`z = (x - c)/s`. For preliminary limits Student's t is turned into the normal score of the same
    probability, so that one set of rules serves all. The rounding keeps a value that lies exactly on a limit
    in decimals from being beyond it in binary.

    References
    ----------
    .. [1] ISO 3534-2, standardised variate. Common definition, recalled. The conversion of t to a normal
           score is
       a choice of this program.
    """
    import numpy as np

    numbers = np.asarray(values, dtype=np.float64)
    all_in_range("values", numbers[~np.isnan(numbers)], -MAGNITUDE_LIMIT, MAGNITUDE_LIMIT)
    scores = (numbers - limits.centre) / limits.s
    if limits.count is not None and limits.state is LimitState.PRELIMINARY:
        scores = _normal_equivalent(scores, limits.count - 1)
    return np.round(scores, _SCORE_DECIMALS)


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


def _normal_equivalent(scores: "NDArray[np.float64]", degrees_of_freedom: int) -> "NDArray[np.float64]":
    import numpy as np
    from scipy.special import ndtri, stdtr

    # The lower tail keeps its digits where the upper one is 1 already; the sign is put back afterwards.
    sizes = np.asarray(ndtri(stdtr(degrees_of_freedom, -np.abs(scores))), dtype=np.float64)
    found: NDArray[np.float64] = np.copysign(sizes, scores)
    return found

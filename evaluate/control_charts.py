"""Control charts of single values: limits from history, and scores against them."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from evaluate.checks import all_in_range, finite, positive
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


def _normal_equivalent(scores: "NDArray[np.float64]", degrees_of_freedom: int) -> "NDArray[np.float64]":
    import numpy as np
    from scipy.special import ndtri, stdtr

    # The lower tail keeps its digits where the upper one is 1 already; the sign is put back afterwards.
    sizes = np.asarray(ndtri(stdtr(degrees_of_freedom, -np.abs(scores))), dtype=np.float64)
    found: NDArray[np.float64] = np.copysign(sizes, scores)
    return found

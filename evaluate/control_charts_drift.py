"""Charts that see a small lasting shift: weighted moving average and cumulative sums."""

from typing import TYPE_CHECKING, Final, NamedTuple

from evaluate.checks import all_in_range, enough, finite, in_range, positive
from evaluate.series import MAGNITUDE_LIMIT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

DEFAULT_WEIGHT: Final = 0.2  # [1] share of the newest value in a weighted average; common practice
DEFAULT_WIDTH_S: Final = 3.0  # [s] half width of the limits; common practice


class EwmaChart(NamedTuple):
    """A chart of the exponentially weighted moving average; arrays of shape (n,)."""

    averages: "NDArray[np.float64]"
    low: "NDArray[np.float64]"
    high: "NDArray[np.float64]"

    @property
    def signals(self) -> tuple[int, ...]:
        """Positions of the averages beyond their limits, counted from 0."""
        beyond = (self.averages < self.low) | (self.averages > self.high)
        return tuple(int(position) for position in beyond.nonzero()[0])


class CusumChart(NamedTuple):
    """A chart of cumulative sums; arrays of shape (n,)."""

    above: "NDArray[np.float64]"
    """What has gathered above the target, less the slack."""
    below: "NDArray[np.float64]"
    decision: float

    @property
    def signals(self) -> tuple[int, ...]:
        """Positions where either sum exceeds the decision limit, counted from 0."""
        beyond = (self.above > self.decision) | (self.below > self.decision)
        return tuple(int(position) for position in beyond.nonzero()[0])

    @property
    def shift_began(self) -> int | None:
        """Position of the first value of the shift that gave the first signal; None without a signal."""
        if not self.signals:
            return None
        first = self.signals[0]
        grew = self.above if self.above[first] > self.decision else self.below
        quiet = (grew[:first] == 0).nonzero()[0]
        return int(quiet[-1]) + 1 if quiet.size else 0


def ewma_chart(
    values: "ArrayLike",
    centre: float,
    s: float,
    *,
    weight: float = DEFAULT_WEIGHT,
    width_s: float = DEFAULT_WIDTH_S,
    steady: bool = False,
) -> EwmaChart:
    r"""Return the exponentially weighted moving average with its limits.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        In time order, at least one. [any unit]
    centre : float
        Centre of the limit set; the average begins there. [same unit]
    s : float
        Standard deviation of single values, above zero. [same unit]
    weight : float
        Share of the newest value, above 0 to 1. [1]
    width_s : float
        Half width of the limits. [standard deviations of the average]
    steady : bool
        True for the limits of a long series from the first value on, False for limits that widen to them.

    Returns
    -------
    EwmaChart
        Averages and limits, each of shape ``(n,)``, and the positions beyond. [same unit]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.
    TooFewPointsError
        If there is no value.

    Notes
    -----
    :math:`z_t = \lambda x_t + (1 - \lambda) z_{t-1}`, :math:`z_0 = c`; limits
    :math:`c \pm L s \sqrt{\lambda/(2-\lambda)\,(1 - (1-\lambda)^{2t})}`. A signal asks for a review, it does
    not fail a run.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, EWMA control charts. Published; its
           example
       uses the limits of a long series.
    """
    import numpy as np

    numbers = _row(values)
    share = in_range("weight", weight, 0.0, 1.0)
    positive("weight", share)
    middle = finite("centre", centre)
    averages = np.empty(len(numbers))
    average = middle
    for position, value in enumerate(numbers.tolist()):
        average = share * value + (1 - share) * average
        averages[position] = average
    grown = np.ones(len(numbers)) if steady else 1 - (1 - share) ** (2 * np.arange(1, len(numbers) + 1))
    half = positive("width_s", width_s) * positive("s", s) * np.sqrt(share / (2 - share) * grown)
    return EwmaChart(averages, middle - half, middle + half)


def cusum_chart(values: "ArrayLike", target: float, *, slack: float, decision: float) -> CusumChart:
    r"""Return the cumulative sums of what lies above and below the target.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        In time order, at least one. [any unit]
    target : float
        The centre of the limit set. [same unit]
    slack : float
        What a value may lie off without counting, not negative; usually s/2. [same unit]
    decision : float
        Sum beyond which there is a signal, above zero; usually 5 s. [same unit]

    Returns
    -------
    CusumChart
        Both sums, each of shape ``(n,)``, the signals and where the shift began. [same unit]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.
    TooFewPointsError
        If there is no value.

    Notes
    -----
    :math:`S^+_t = \max(0, S^+_{t-1} + x_t - T - k)` and :math:`S^-_t = \max(0, S^-_{t-1} + T - k - x_t)`,
    both from zero. A signal asks for a review, it does not fail a run.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3, CUSUM control charts. Published.
    """
    import numpy as np

    numbers = _row(values)
    middle = finite("target", target)
    allowed = in_range("slack", slack, 0.0, MAGNITUDE_LIMIT)
    limit = positive("decision", decision)
    above, below = np.empty(len(numbers)), np.empty(len(numbers))
    high = low = 0.0
    for position, value in enumerate(numbers.tolist()):
        high = max(0.0, high + value - middle - allowed)
        low = max(0.0, low + middle - allowed - value)
        above[position], below[position] = high, low
    return CusumChart(above, below, limit)


def _row(values: "ArrayLike") -> "NDArray[np.float64]":
    numbers = all_in_range("values", values, -MAGNITUDE_LIMIT, MAGNITUDE_LIMIT).ravel()
    enough("values", len(numbers), 1)
    return numbers

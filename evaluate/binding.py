"""How much of an addition binds: predicted, and learned from what was found after earlier additions."""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from evaluate.checks import enough, finite, in_range, not_negative, positive
from evaluate.errors import NotPredictableError

HIGHEST_BOUND_SHARE: Final = 0.95  # share of one; beyond it a dose for a free target has no sensible size
MEASURE_FIRST: Final = "add a first dose, wait a day, measure, and plan from what was found"


class Addition(NamedTuple):
    """What was added to a lot and what was found before and after. [mg/L]"""

    free_before_mg_per_l: float
    added_mg_per_l: float
    free_after_mg_per_l: float


class Binding(NamedTuple):
    """The share of an addition that binds, and where the figure comes from."""

    share: float
    source: str
    spread: float | None = None
    """Standard deviation of a single future share about this one; None where nothing is known of it."""
    additions: int = 0
    """Number of additions it was learned from."""


ONE_THIRD: Final = Binding(
    1 / 3, "common practice, no source that was measured: one third of an addition binds"
)


def found_share(addition: Addition) -> float:
    """Return the share of one addition that bound.

    Parameters
    ----------
    addition : Addition
        Free SO2 before and after, not negative, and what was added, more than 0. [mg/L]

    Returns
    -------
    float
        Share of one; below 0 or above 1 when the values contradict each other by error of measurement.

    Raises
    ------
    OutOfRangeError
        If a value is not finite or outside its range.

    Notes
    -----
    1 - (after - before) / added, by definition. Losses in the meantime count as bound.

    References
    ----------
    .. [1] Definition of the share that binds, exact.
    """
    before = not_negative("free SO2 before", addition.free_before_mg_per_l, "mg/L")
    after = not_negative("free SO2 after", addition.free_after_mg_per_l, "mg/L")
    return 1 - (after - before) / positive("SO2 added", addition.added_mg_per_l, "mg/L")


def learn_binding(additions: Sequence[Addition], source: str = "earlier additions to this lot") -> Binding:
    """Return the share that binds in a lot, from what was found after its additions.

    Parameters
    ----------
    additions : sequence of Addition
        One or more.
    source : str
        Words that say whose additions they were.

    Returns
    -------
    Binding
        Share from 0 to 0.95, and the spread if there were two or more.

    Raises
    ------
    TooFewPointsError
        If there is no addition.
    OutOfRangeError
        If a value is not finite or outside its range.

    Notes
    -----
    Each share is weighted by the square of what was added, which is the least-squares line through zero of
    the bound amount against the added one: a large addition tells more than a small one. The spread is that
    of one more share of middling size: s sqrt(1 + 1 / n) with the weighted standard deviation s. A lot
    saturates, so shares fall with time; the estimate is a help and not a law.

    References
    ----------
    .. [1] Weighted least squares, textbook; its use for binding is common practice, no source.
    """
    enough("additions to learn from", len(additions), 1)
    shares = [found_share(one) for one in additions]
    weights = [one.added_mg_per_l**2 for one in additions]
    mean = _weighted(shares, weights)
    return Binding(
        share=min(max(mean, 0.0), HIGHEST_BOUND_SHARE),
        source=source,
        spread=_spread(shares, weights, mean),
        additions=len(additions),
    )


def addition_for_free(free_now_mg_per_l: float, free_target_mg_per_l: float, bound_share: float) -> float:
    """Return what to add so that the free sulfur dioxide reaches a target.

    Parameters
    ----------
    free_now_mg_per_l : float
        Free SO2 as measured, more than 0. [mg/L]
    free_target_mg_per_l : float
        Free SO2 wanted, 0 to 500. [mg/L]
    bound_share : float
        Share of the addition that binds, 0 to 0.95.

    Returns
    -------
    float
        Sulfur dioxide to add; 0 if the target is already met. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    NotPredictableError
        If there is no free sulfur dioxide now: how much of the addition would bind cannot be told.

    Notes
    -----
    (target - now) / (1 - bound share). Common practice; the arithmetic is printed with one third by a wine
    guild.

    References
    ----------
    .. [1] A wine guild's advice on additions: add 30 to go from 10 to 30. Published, weak.

    Examples
    --------
    >>> round(addition_for_free(10.0, 30.0, 1 / 3), 6)
    30.0
    """
    target = in_range("free SO2 wanted", free_target_mg_per_l, 0.0, 500.0, "mg/L")
    rise = target - _free_to_build_on(free_now_mg_per_l)
    return max(0.0, rise) / (1 - in_range("bound share", bound_share, 0.0, HIGHEST_BOUND_SHARE))


def predicted_free(
    free_now_mg_per_l: float, added_mg_per_l: float, binding: Binding, *, coverage: float = 2.0
) -> tuple[float, float, float]:
    """Return the free sulfur dioxide to expect after an addition, with its bounds.

    Parameters
    ----------
    free_now_mg_per_l : float
        Free SO2 as measured, more than 0. [mg/L]
    added_mg_per_l : float
        Sulfur dioxide added, not negative. [mg/L]
    binding : Binding
        Share that binds, with its spread.
    coverage : float
        Bounds in spreads of the share, more than 0.

    Returns
    -------
    tuple of float
        Expected, lowest and highest; the bounds are those of nothing and everything binding where no spread
        is known, and never go beyond those. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    NotPredictableError
        If there is no free sulfur dioxide now.

    Notes
    -----
    now + added (1 - share), by definition of the share.

    References
    ----------
    .. [1] Definition of the share that binds, exact; bounds are common practice, no source.
    """
    now = _free_to_build_on(free_now_mg_per_l)
    added = not_negative("SO2 added", added_mg_per_l, "mg/L")
    share = in_range("bound share", binding.share, 0.0, 1.0)
    width = positive("coverage", coverage) * (math.inf if binding.spread is None else binding.spread)
    lowest, highest = (now + added * (1 - min(max(share + sign * width, 0.0), 1.0)) for sign in (1, -1))
    return now + added * (1 - share), lowest, highest


def _free_to_build_on(free_now_mg_per_l: float) -> float:
    free = finite("free SO2 now", free_now_mg_per_l)
    if free == 0:
        raise NotPredictableError(
            f"the free SO2 is 0, and how much more such a wine binds cannot be told: {MEASURE_FIRST}",
            name="free SO2 now",
            value=free,
        )
    return positive("free SO2 now", free, "mg/L")


def _weighted(values: Sequence[float], weights: Sequence[float]) -> float:
    return math.fsum(w * v for w, v in zip(weights, values, strict=True)) / math.fsum(weights)


def _spread(shares: Sequence[float], weights: Sequence[float], mean: float) -> float | None:
    count = len(shares)
    if count < 2:
        return None
    variance = _weighted([(share - mean) ** 2 for share in shares], weights) * count / (count - 1)
    return math.sqrt(variance * (1 + 1 / count))

"""The ageing of a titrant: how a new factor differs, how fast it decays, what an old one costs."""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from evaluate.checks import finite, in_range, interval_probability, not_negative, positive
from evaluate.series import series
from evaluate.titrant import Standardisation
from evaluate.trend import DEFAULT_PROBABILITY, Trend, loss_rate, straight_line

MOST_CHANGE_PCT: Final = 0.5  # %; change of a factor that is flagged, recalled, a setting
MOST_BIAS_PCT: Final = 30.0  # %; no one allows more, our choice
MOST_LOSS_PCT: Final = 50.0  # %; a titrant that has lost half is no titrant any more, our choice


class FactorChange(NamedTuple):
    """A new factor beside the one before."""

    change_pct: float
    """New less old, of old. [%]"""
    exceeds_limit: bool
    exceeds_scatter: bool
    """Whether it is more than the replicates' scatter explains."""

    @property
    def is_flagged(self) -> bool:
        """Whether a person should look at it."""
        return self.exceeds_limit or self.exceeds_scatter


class TitrantLoss(NamedTuple):
    """How fast a titrant weakens; negative for one that grows stronger, as by evaporation."""

    pct_per_day: float
    """Loss a day, of the strength at the last standardisation by the line. [%/d]"""
    low_pct_per_day: float
    high_pct_per_day: float
    trend: Trend

    @property
    def is_certain(self) -> bool:
        """Whether the loss can be told from scatter."""
        return not self.low_pct_per_day <= 0 <= self.high_pct_per_day


def compare_factors(
    old: Standardisation,
    new: Standardisation,
    *,
    most_change_pct: float = MOST_CHANGE_PCT,
    probability: float = DEFAULT_PROBABILITY,
) -> FactorChange:
    r"""Return how a new factor differs from the one before.

    Parameters
    ----------
    old, new : Standardisation
        Of one titrant and nominal strength. [mol/L]
    most_change_pct : float
        Change that is flagged, more than 0. [%]
    probability : float
        For the comparison with the scatter, 0.5 to 0.9999. [1]

    Returns
    -------
    FactorChange
        Change [%], and whether it exceeds the limit and the scatter.

    Raises
    ------
    OutOfRangeError
        If a limit makes no sense.

    Notes
    -----
    Scatter: :math:`t\,s_p\sqrt{1/n_1 + 1/n_2}` with the pooled standard deviation of both sets and
    :math:`n_1 + n_2 - 2` degrees of freedom.

    References
    ----------
    .. [1] Two-sample t test, Student 1908. Common practice; the limit of 0.5 % is recalled, a setting.
    """
    from scipy.special import stdtrit

    limit = positive("change limit", most_change_pct, "%")
    tail = (1 - interval_probability(probability)) / 2
    difference = new.mol_per_l - old.mol_per_l
    freedom = old.n + new.n - 2
    squares = sum(one.n * (one.n - 1) * one.standard_error_mol_per_l**2 for one in (old, new))
    error = math.sqrt(squares / freedom * (1 / old.n + 1 / new.n))
    change_pct = 100 * difference / old.mol_per_l
    return FactorChange(
        change_pct, abs(change_pct) > limit, abs(difference) > -float(stdtrit(freedom, tail)) * error
    )


def titrant_loss(
    day: Sequence[float], factor: Sequence[float], *, probability: float = DEFAULT_PROBABILITY
) -> TitrantLoss:
    """Return how fast a titrant weakens, from its factors.

    Parameters
    ----------
    day : sequence of float
        Day of each standardisation, three or more, shape ``(n,)``. [d]
    factor : sequence of float
        Factor, each more than 0, shape ``(n,)``. [1]
    probability : float
        Of the interval, 0.5 to 0.9999. [1]

    Returns
    -------
    TitrantLoss
        Loss a day with its interval, of the line's value on the last day. [%/d]

    Raises
    ------
    TooFewPointsError
        If there are fewer than three.
    OutOfRangeError
        If a number is not finite, a factor not more than 0, all days are the same, or the shapes differ.

    Notes
    -----
    A straight line: over the few per cent in question it cannot be told from an exponential. A change in how
    the bottle is kept (a guard tube left off) makes an older rate worthless.

    References
    ----------
    .. [1] Least squares. Common practice.
    """
    days, factors = series("day", day, 3), [positive("factor", f) for f in series("factor", factor, 3)]
    trend = straight_line(days, factors)
    rate = loss_rate(trend, probability=probability)
    last = positive("factor by the line", trend.intercept + trend.slope * trend.last_x)
    return TitrantLoss(100 * rate.per_day / last, 100 * rate.low / last, 100 * rate.high / last, trend)


def predicted_bias(age_d: float, loss_pct_per_day: float) -> float:
    r"""Return how much too high a result comes out with a factor that is too old.

    Parameters
    ----------
    age_d : float
        Days since the factor was determined, 0 or more. [d]
    loss_pct_per_day : float
        Loss of strength a day; negative for a gain. [%/d]

    Returns
    -------
    float
        Bias of a result, of the true one. [%]

    Raises
    ------
    OutOfRangeError
        If an input is not finite, the age negative, or more than half the strength would be gone.

    Notes
    -----
    A weaker titrant needs more volume: :math:`100\,(1/(1 - a r/100) - 1)`.

    References
    ----------
    .. [1] Arithmetic.
    """
    age, rate = not_negative("age", age_d, "d"), finite("loss", loss_pct_per_day)
    lost_pct = in_range("strength lost", age * rate, -MOST_LOSS_PCT, MOST_LOSS_PCT, "%")
    return 100 * lost_pct / (100 - lost_pct)


def restandardise_after(allowed_bias_pct: float, loss_pct_per_day: float) -> float:
    r"""Return the age at which an old factor makes results wrong by an allowed bias.

    Parameters
    ----------
    allowed_bias_pct : float
        Size of the bias that is still allowed, more than 0, at most 30. [%]
    loss_pct_per_day : float
        Loss of strength a day; negative for a gain. The upper end of its interval is the safe choice. [%/d]

    Returns
    -------
    float
        Days after which to standardise again; infinite without any loss. [d]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    The inverse of `predicted_bias`: :math:`100\,b/((100 + b)\,r)`, b negative for a gain.

    References
    ----------
    .. [1] Arithmetic.
    """
    allowed = in_range(
        "allowed bias", positive("allowed bias", allowed_bias_pct, "%"), 0.0, MOST_BIAS_PCT, "%"
    )
    rate = finite("loss", loss_pct_per_day)
    if rate == 0:
        return math.inf
    bias = math.copysign(allowed, rate)
    return 100 * bias / ((100 + bias) * rate)

"""Recovery of a spike, and the bias of a control against its reference value."""

import math
from collections.abc import Iterable
from typing import NamedTuple

from evaluate.checks import finite, interval_probability, not_negative, positive
from evaluate.errors import NotPredictableError
from evaluate.series import series
from evaluate.statistics import mean, standard_deviation


class Bias(NamedTuple):
    """How far the mean of a control lies from its reference value."""

    bias: float
    """Mean less reference. [unit of the values]"""
    low: float
    high: float
    """Interval of the bias. [unit of the values]"""
    t: float
    """Bias in standard errors. [1]"""
    n: int

    @property
    def is_significant(self) -> bool:
        """Whether the interval leaves out zero."""
        return not self.low <= 0 <= self.high


def spike_recovery(
    found: float, unspiked: float, *, sample_ml: float, spike_ml: float, spike_concentration: float
) -> float:
    r"""Return how much of an added amount was found again.

    Parameters
    ----------
    found : float
        Content of the spiked sample, not negative. [mg/L]
    unspiked : float
        Content of the sample before, not negative. [mg/L]
    sample_ml : float
        Volume of sample taken, above zero. [mL]
    spike_ml : float
        Volume of spike added, above zero. [mL]
    spike_concentration : float
        Content of the spike solution, above zero. [mg/L]

    Returns
    -------
    float
        Recovery; 100 if all was found. [%]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    :math:`R = 100\,(X_s - X_u)/K` with both the sample's own content and the spike diluted to the joint
    volume. Forgetting the dilution of the sample understates the recovery. The spike should at least equal
    the content.

    References
    ----------
    .. [1] EPA Method 1312, section 8.2.4, per cent recovery; dilution added here. Published.
    """
    total_ml = positive("sample_ml", sample_ml, "mL") + positive("spike_ml", spike_ml, "mL")
    added = positive("spike_concentration", spike_concentration, "mg/L") * spike_ml / total_ml
    own = not_negative("unspiked", unspiked, "mg/L") * sample_ml / total_ml
    return 100 * (not_negative("found", found, "mg/L") - own) / added


def control_bias(values: Iterable[float], reference: float, *, probability: float = 0.95) -> Bias:
    r"""Return the bias of a control with its interval; it suggests nothing.

    Parameters
    ----------
    values : iterable of float
        Values of the control on different days, at least two, not all equal. [any unit]
    reference : float
        Its reference value. [same unit]
    probability : float
        Of the interval, 0.5 to 0.9999. [1]

    Returns
    -------
    Bias
        Mean less reference, its interval and t. [same unit]

    Raises
    ------
    TooFewPointsError
        If there are fewer than two values.
    OutOfRangeError
        If a number is not finite or outside its range.
    NotPredictableError
        If all values are equal.

    Notes
    -----
    :math:`t = (\bar x - X)/(s/\sqrt n)`. The uncertainty of the reference value is not part of it.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2, confidence limits for the mean. Recalled.
    """
    from scipy.special import stdtrit

    numbers = series("values", values, wanted=2)
    tail = (1 - interval_probability(probability)) / 2
    error = standard_deviation(numbers) / math.sqrt(len(numbers))
    if error == 0:
        raise NotPredictableError("all values are equal: without scatter the bias has no interval")
    bias = mean(numbers) - finite("reference", reference)
    half = -float(stdtrit(len(numbers) - 1, tail)) * error
    return Bias(bias, bias - half, bias + half, bias / error, len(numbers))

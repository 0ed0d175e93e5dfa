"""Check standards measured after a calibration: how far off, and how far off they may be."""

import math
from typing import TYPE_CHECKING, NamedTuple

from evaluate.checks import all_in_range, finite, in_range, interval_probability, positive
from evaluate.errors import OutOfRangeError
from evaluate.series import MAGNITUDE_LIMIT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray


class CalibrationLine(NamedTuple):
    """A straight calibration line, reading = intercept + slope * content, with its residual scatter."""

    intercept: float
    slope: float
    residual_s: float
    """Residual standard deviation of the readings. [unit of the reading]"""
    degrees_of_freedom: int


def check_values(line: CalibrationLine, readings: "ArrayLike", known: "ArrayLike") -> "NDArray[np.float64]":
    r"""Return how far check standards were found from what they are known to hold.

    Parameters
    ----------
    line : CalibrationLine
        The calibration in use.
    readings : array_like of float, shape (n,)
        Readings of the check standards. [unit of the reading]
    known : array_like of float, shape (n,)
        What they hold. [unit of the content]

    Returns
    -------
    array of float, shape (n,)
        :math:`W = (y - a)/b - x`. [unit of the content]

    Raises
    ------
    OutOfRangeError
        If a number is not finite, the slope is zero, or the shapes differ.

    Notes
    -----
    One check outside `check_limit`, at any level, fails the calibration for use.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.7.1, control chart for a linear calibration
           line.
       Published data, values worked out.
    """
    read = all_in_range("readings", readings, -MAGNITUDE_LIMIT, MAGNITUDE_LIMIT)
    content = all_in_range("known", known, -MAGNITUDE_LIMIT, MAGNITUDE_LIMIT)
    if read.shape != content.shape:
        raise OutOfRangeError(
            f"readings and known must pair up, not {read.shape} and {content.shape}", name="known"
        )
    found: NDArray[np.float64] = (read - finite("intercept", line.intercept)) / _slope(line) - content
    return found


def check_limit(line: CalibrationLine, *, standards: int = 3, probability: float = 0.95) -> float:
    r"""Return how far off check standards may be found while the calibration line holds.

    Parameters
    ----------
    line : CalibrationLine
        The calibration in use.
    standards : int
        Check standards judged together, at least 1. [1]
    probability : float
        That all of them stay inside while nothing changed, 0.5 to 0.9999. [1]

    Returns
    -------
    float
        Greatest size of a check value. [unit of the content]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    :math:`s\,t^*/|b|`, with t* at the upper tail :math:`\frac12 (1 - (1 - \alpha)^{1/m})` so that m checks
    together keep the level.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.7, instrument control for linear calibration.
       Published formula, value worked out.
    """
    from scipy.special import stdtrit

    count = in_range("standards", standards, 1, math.inf)
    freedom = in_range("degrees_of_freedom", line.degrees_of_freedom, 1, math.inf)
    together = interval_probability(probability)
    t = -float(stdtrit(freedom, (1 - together ** (1 / count)) / 2))
    return positive("residual_s", line.residual_s) * t / abs(_slope(line))


def _slope(line: CalibrationLine) -> float:
    slope = finite("slope", line.slope)
    if slope == 0:
        raise OutOfRangeError("slope must not be 0: such a line tells nothing", name="slope", value=slope)
    return slope

"""Constants of control charts, computed from the distribution of the range instead of copied from a table."""

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

from evaluate.checks import all_in_range, in_range
from evaluate.errors import OutOfRangeError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_IN_A_GROUP: Final = 25  # [1] largest group of the printed tables of chart constants; ASTM, ISO 7870-2
_WIDEST_RANGE: Final = 14.0  # [s] ranges beyond it have a probability below 1e-20 for 25 values; our choice
_FARTHEST_VALUE: Final = 9.0  # [s] normal density beyond it is below 1e-18; our choice


class ChartConstants(NamedTuple):
    """The constants for groups of `n` values, all without unit. Names are those of the printed tables."""

    n: int
    d2: float
    """Mean of the range, in standard deviations."""
    d3: float
    """Standard deviation of the range, in standard deviations."""
    c4: float
    """Mean of the sample standard deviation, in standard deviations."""

    @property
    def a2(self) -> float:
        """Half width of the three-sigma limits of a mean, in mean ranges."""
        return 3 / (self.d2 * math.sqrt(self.n))

    @property
    def a3(self) -> float:
        """Half width of the three-sigma limits of a mean, in mean standard deviations."""
        return 3 / (self.c4 * math.sqrt(self.n))

    @property
    def b3(self) -> float:
        """Lower limit of the standard deviation, in mean standard deviations."""
        return max(0.0, 1 - self._spread_of_deviation)

    @property
    def b4(self) -> float:
        """Upper limit of the standard deviation, in mean standard deviations."""
        return 1 + self._spread_of_deviation

    @property
    def range_low(self) -> float:
        """Lower limit of the range, in mean ranges; printed as D3."""
        return max(0.0, 1 - 3 * self.d3 / self.d2)

    @property
    def range_high(self) -> float:
        """Upper limit of the range, in mean ranges; printed as D4."""
        return 1 + 3 * self.d3 / self.d2

    @property
    def e2(self) -> float:
        """Half width of the three-sigma limits of a single value, in mean ranges."""
        return 3 / self.d2

    @property
    def _spread_of_deviation(self) -> float:
        return 3 * math.sqrt(1 - self.c4**2) / self.c4


@lru_cache(maxsize=MOST_IN_A_GROUP)
def chart_constants(n: int) -> ChartConstants:
    r"""Return the constants of control charts for groups of `n` values.

    Parameters
    ----------
    n : int
        Values in a group, 2 to 25. [1]

    Returns
    -------
    ChartConstants
        d2, d3 and c4, and what follows from them, accurate to 1e-9. [1]

    Raises
    ------
    OutOfRangeError
        If `n` is not a whole number of that range.

    Notes
    -----
    With W the range of n standard normal values, :math:`d_2 = E(W) = \int P(W > w)\,dw` and
    :math:`d_3^2 = 2 \int w P(W > w)\,dw - d_2^2`;
    :math:`c_4 = \sqrt{2/(n-1)}\,\Gamma(n/2)/\Gamma((n-1)/2)`. For groups from a normal distribution only.

    References
    ----------
    .. [1] ASTM table of factors for control charts, as printed in textbooks for n = 2 to 25; rounded to three
       decimals, with misprints that differ from book to book. Published.
    """
    import numpy as np

    in_range("n", n, 2, MOST_IN_A_GROUP)
    if n != int(n):
        raise OutOfRangeError(f"n must be a whole number of values, not {n}", name="n", value=n)
    nodes, weights = np.polynomial.legendre.leggauss(100)
    ranges = (nodes + 1) * _WIDEST_RANGE / 2
    tail = (1 - range_distribution(ranges, n)) * weights * _WIDEST_RANGE / 2
    d2 = float(tail.sum())
    second_moment = 2 * float((ranges * tail).sum())
    c4 = math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    return ChartConstants(int(n), d2, math.sqrt(second_moment - d2**2), c4)


def range_distribution(ranges: "NDArray[np.float64]", n: int) -> "NDArray[np.float64]":
    r"""Return the probability that the range of `n` standard normal values is at most each given range.

    Parameters
    ----------
    ranges : array of float, shape (m,)
        Ranges, not negative, in standard deviations. [1]
    n : int
        Values in a group, at least 2. [1]

    Returns
    -------
    array of float, shape (m,)
        Probabilities, 0 to 1. [1]

    Raises
    ------
    OutOfRangeError
        If a range is negative or not finite, or `n` is below 2.

    Notes
    -----
    :math:`P(W \le w) = n \int \varphi(x) (\Phi(x + w) - \Phi(x))^{n-1} dx`, by the trapezoidal rule, which is
    exact to rounding for so smooth an integrand.

    References
    ----------
    .. [1] H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed., 2003, section 2.3. Recalled.
    """
    import numpy as np
    from scipy.special import ndtr

    in_range("n", n, 2, math.inf)
    widths = all_in_range("ranges", ranges, 0.0, math.inf)
    x = np.linspace(-_FARTHEST_VALUE, _FARTHEST_VALUE, 361)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    inside = np.asarray(ndtr(x + widths[:, None]) - ndtr(x), dtype=np.float64)
    found: NDArray[np.float64] = n * (x[1] - x[0]) * (density * inside ** (n - 1)).sum(axis=1)
    return found

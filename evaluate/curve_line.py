"""A straight line through points by least squares, with the uncertainty of what it gives."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from evaluate.checks import enough, finite
from evaluate.errors import EvaluateError, NotPredictableError


class Line(NamedTuple):
    """``y = mean_y + slope * (x - mean_x)``, fitted to `n` points."""

    slope: float
    mean_x: float
    mean_y: float
    n: int
    squares_x: float
    """Sum of squares of x about its mean."""
    squares_left: float
    """Sum of squares of y about the line."""
    squares_y: float
    """Sum of squares of y about its mean."""

    @property
    def intercept(self) -> float:
        """Value at x = 0."""
        return self.mean_y - self.slope * self.mean_x

    @property
    def r_squared(self) -> float:
        """Share of the squares of y that the line explains; 1 where y does not vary."""
        return 1.0 - self.squares_left / self.squares_y if self.squares_y > 0 else 1.0

    @property
    def residual_sd(self) -> float:
        """Standard deviation of the points about the line, n - 2 degrees of freedom; nan for two points."""
        return math.sqrt(self.squares_left / (self.n - 2)) if self.n > 2 else math.nan

    @property
    def slope_sd(self) -> float:
        """Standard error of the slope; nan for two points."""
        return self.residual_sd / math.sqrt(self.squares_x)

    def at(self, x: float) -> float:
        """Return the line's y at an x."""
        return self.mean_y + self.slope * (x - self.mean_x)

    def reaches(self, y: float = 0.0) -> float:
        """Return the x at which the line has a value; raise `NotPredictableError` for a level line."""
        if self.slope == 0:
            raise NotPredictableError(f"a level line never reaches {y:g}; take points further apart")
        return self.mean_x + (y - self.mean_y) / self.slope


def fit_line(x: Sequence[float], y: Sequence[float]) -> Line:
    """Return the least-squares line of y on x.

    Parameters
    ----------
    x, y : sequence of float
        Shape ``(n,)``, two or more, x not all the same. [any unit]

    Returns
    -------
    Line
        Slope [unit of y per unit of x], means, sums of squares.

    Raises
    ------
    TooFewPointsError
        If there are fewer than two points.
    OutOfRangeError
        If a value is not finite.
    EvaluateError
        If x and y differ in length, or all x are the same.

    Notes
    -----
    Sums are taken about the means, in exact addition, so that a large offset costs no digits. All y weigh the
    same and x is taken as free of error.

    References
    ----------
    .. [1] N. R. Draper, H. Smith, Applied Regression Analysis, 3rd edition, 1998, chapter 1. Status: common
       practice; the certified NIST data sets are among the tests.
    """
    if len(x) != len(y):
        raise EvaluateError(f"{len(x)} x and {len(y)} y came; one y is wanted for each x", name="y")
    count = enough("points of a line", len(x), 2)
    xs, ys = [finite("x", value) for value in x], [finite("y", value) for value in y]
    mean_x, mean_y = math.fsum(xs) / count, math.fsum(ys) / count
    from_x, from_y = [value - mean_x for value in xs], [value - mean_y for value in ys]
    squares_x = math.fsum(d * d for d in from_x)
    if squares_x == 0:
        raise EvaluateError(f"all x are {xs[0]:g}; a line needs at least two that differ", name="x")
    slope = math.fsum(a * b for a, b in zip(from_x, from_y, strict=True)) / squares_x
    left = math.fsum((b - slope * a) ** 2 for a, b in zip(from_x, from_y, strict=True))
    return Line(slope, mean_x, mean_y, count, squares_x, left, math.fsum(d * d for d in from_y))

import math
from fractions import Fraction

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from evaluate.curve_line import fit_line
from evaluate.errors import EvaluateError, NotPredictableError, OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

PLACES = st.lists(st.integers(-1000, 1000), min_size=3, max_size=20, unique=True)
SIZES = st.floats(-100.0, 100.0)


def test_fit_line__published_norris() -> None:
    # NIST StRD, Norris, certified to 15 digits.
    table = rows("nist_strd/norris.csv")
    line = fit_line([float(row["x"]) for row in table], [float(row["y"]) for row in table])
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.slope_sd == pytest.approx(0.429796848199937e-03, rel=1e-10)
    assert line.r_squared == pytest.approx(0.999993745883712, rel=1e-12)


def test_fit_line__limit_two_points_lie_on_their_line() -> None:
    line = fit_line([1.0, 3.0], [2.0, 8.0])
    assert (line.slope, line.at(0.0), line.r_squared) == (3.0, -1.0, 1.0)
    assert math.isnan(line.residual_sd)


def test_fit_line__limit_level_points_explain_everything_and_reach_nothing() -> None:
    line = fit_line([1.0, 2.0, 3.0], [5.0, 5.0, 5.0])
    assert (line.slope, line.r_squared, line.residual_sd) == (0.0, 1.0, 0.0)
    with pytest.raises(NotPredictableError, match="level line never reaches 0"):
        line.reaches(0.0)


@given(PLACES, SIZES, SIZES)
def test_fit_line__law_points_of_a_line_give_it_back(xs: list[int], slope: float, intercept: float) -> None:
    line = fit_line([float(x) for x in xs], [intercept + slope * x for x in xs])
    assert line.slope == pytest.approx(slope, abs=1e-9)
    assert line.intercept == pytest.approx(intercept, abs=1e-7)


@given(PLACES)
def test_fit_line__law_an_offset_moves_the_line_and_leaves_the_slope(xs: list[int]) -> None:
    ys = [math.sin(x) for x in xs]
    plain, moved = fit_line(xs, ys), fit_line(xs, [y + 7.0 for y in ys])
    assert moved.slope == pytest.approx(plain.slope, abs=1e-12)
    assert moved.at(3.0) == pytest.approx(plain.at(3.0) + 7.0, abs=1e-9)


def test_fit_line__independent_scipy() -> None:
    x, y = np.linspace(0.0, 3.0, 12) ** 2, np.cos(np.linspace(0.0, 3.0, 12))
    ours, theirs = fit_line(x.tolist(), y.tolist()), scipy.stats.linregress(x, y)
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-12)
    assert ours.slope_sd == pytest.approx(theirs.stderr, rel=1e-12)
    assert ours.r_squared == pytest.approx(theirs.rvalue**2, rel=1e-12)
    assert ours.reaches(0.25) == pytest.approx((0.25 - theirs.intercept) / theirs.slope, rel=1e-12)


def test_fit_line__independent_exact_fractions_far_from_zero() -> None:
    x, y = [1e8, 1e8 + 1, 1e8 + 2, 1e8 + 5], [1.0, 2.5, 2.0, 6.0]
    dx = [Fraction(a) - sum(map(Fraction, x)) / 4 for a in x]
    exact = sum(a * Fraction(b) for a, b in zip(dx, y, strict=True)) / sum(a * a for a in dx)
    assert fit_line(x, y).slope == pytest.approx(float(exact), rel=1e-14)


def test_fit_line__refuses_one_point() -> None:
    with pytest.raises(TooFewPointsError, match="points of a line: 1 given, at least 2"):
        fit_line([1.0], [2.0])


def test_fit_line__refuses_equal_x() -> None:
    with pytest.raises(EvaluateError, match="all x are 2"):
        fit_line([2.0, 2.0], [1.0, 3.0])


def test_fit_line__refuses_unequal_lengths() -> None:
    with pytest.raises(EvaluateError, match="2 x and 3 y"):
        fit_line([1.0, 2.0], [1.0, 2.0, 3.0])


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_fit_line__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="x must be"):
        fit_line([1.0, bad], [1.0, 2.0])
    with pytest.raises(OutOfRangeError, match="y must be"):
        fit_line([1.0, 2.0], [1.0, bad])

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from evaluate.chart_constants import chart_constants, range_distribution
from evaluate.errors import OutOfRangeError
from tundish.selftest.tables import rows

ATTRIBUTES = {
    "d2": "d2", "d3": "d3", "c4": "c4", "A2": "a2", "A3": "a3",
    "B3": "b3", "B4": "b4", "D3": "range_low", "D4": "range_high", "E2": "e2",
}  # fmt: skip
TABLE = {int(row["n"]): row for row in rows("qc/control_chart_constants.csv")}


@pytest.mark.parametrize("n", TABLE)
def test_chart_constants__published_table_within_one_of_the_last_place(n: int) -> None:
    printed = {name: TABLE[n][f"{name}_pub"] for name in ATTRIBUTES if TABLE[n][f"{name}_pub"]}
    for name, figure in printed.items():
        assert getattr(chart_constants(n), ATTRIBUTES[name]) == pytest.approx(float(figure), abs=1e-3)


@pytest.mark.parametrize("n", TABLE)
def test_chart_constants__independent_table_to_six_decimals(n: int) -> None:
    for name, attribute in ATTRIBUTES.items():
        expected = float(TABLE[n][f"{name}_calc"])
        assert getattr(chart_constants(n), attribute) == pytest.approx(expected, abs=5.1e-7)


def test_chart_constants__closed_form_of_two_and_three_values() -> None:
    assert chart_constants(2).d2 == pytest.approx(2 / math.sqrt(math.pi), abs=1e-11)
    assert chart_constants(2).d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-11)
    assert chart_constants(3).d2 == pytest.approx(3 / math.sqrt(math.pi), abs=1e-11)


def test_chart_constants__limit_of_large_groups_the_deviation_loses_its_bias() -> None:
    assert chart_constants(25).c4 == pytest.approx(1 - 1 / (4 * 25), abs=5e-4)


@given(st.integers(2, 24))
def test_chart_constants__law_larger_groups_have_wider_and_steadier_ranges(n: int) -> None:
    small, large = chart_constants(n), chart_constants(n + 1)
    assert small.d2 < large.d2
    assert small.d3 / small.d2 > large.d3 / large.d2
    assert small.range_low <= large.range_low < large.range_high < small.range_high


@pytest.mark.parametrize("n", [1, 0, -3, 26, 2.5, math.nan, math.inf])
def test_chart_constants__refuses_group_sizes_without_constants(n: int) -> None:
    with pytest.raises(OutOfRangeError, match="n must be"):
        chart_constants(n)


def test_range_distribution__closed_form_of_a_pair() -> None:
    """The range of two values is the size of a normal difference of deviation sqrt 2."""
    widths = np.array([0.0, 0.5, 1.0, 2.7718, 5.0])
    expected = [math.erf(width / 2) for width in widths.tolist()]
    assert range_distribution(widths, 2) == pytest.approx(expected, abs=1e-13)


def test_range_distribution__limit_no_range_is_below_zero_and_all_are_below_fourteen() -> None:
    assert range_distribution(np.array([0.0, 14.0]), 25) == pytest.approx([0.0, 1.0], abs=1e-13)


@given(st.floats(0, 8), st.floats(0, 1), st.integers(2, 24))
def test_range_distribution__law_grows_with_the_range_and_shrinks_with_the_group(
    width: float, more: float, n: int
) -> None:
    low, high = range_distribution(np.array([width, width + more]), n)
    assert 0 <= low <= high + 1e-12 <= 1 + 2e-12
    assert range_distribution(np.array([width]), n + 1)[0] <= low + 1e-12


@pytest.mark.parametrize(("width", "n"), [(-0.1, 2), (math.nan, 2), (math.inf, 2), (1.0, 1)])
def test_range_distribution__refuses_negative_ranges_and_single_values(width: float, n: int) -> None:
    with pytest.raises(OutOfRangeError):
        range_distribution(np.array([width]), n)


@pytest.mark.parametrize(("width", "n"), [(1.3, 3), (3.6332, 4), (3.9, 9)])
def test_range_distribution__independent_quadrature_of_scipy(width: float, n: int) -> None:
    def integrand(x: float) -> float:
        inside = stats.norm.cdf(x + width) - stats.norm.cdf(x)
        return float(n * stats.norm.pdf(x) * inside ** (n - 1))

    expected, _ = integrate.quad(integrand, -9, 9, epsabs=1e-12)
    assert range_distribution(np.array([width]), n)[0] == pytest.approx(expected, abs=1e-10)

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from evaluate.duplicates import (
    Report,
    critical_range_factor,
    judge_replicates,
    relative_difference,
    repeatability_deviation,
)
from evaluate.errors import OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

FACTORS = {int(row["n"]): float(row["f_CR95"]) for row in rows("qc/replicate_range_factors.csv")}
differences = st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=30)


def test_critical_range_factor__published_repeatability_limit() -> None:
    """r = 2.8 s_r, as quoted in national notice 66/2003, article 23."""
    assert round(critical_range_factor(2), 1) == 2.8


def test_critical_range_factor__closed_form_of_a_pair() -> None:
    assert critical_range_factor(2) == pytest.approx(math.sqrt(2) * stats.norm.ppf(0.975), abs=1e-9)


@pytest.mark.parametrize("n", FACTORS)
def test_critical_range_factor__independent_computed_table(n: int) -> None:
    assert critical_range_factor(n) == pytest.approx(FACTORS[n], abs=5.1e-5)


def test_critical_range_factor__limit_of_the_largest_group() -> None:
    simulated = np.ptp(np.random.default_rng(3).normal(size=(40_000, 25)), axis=1)
    assert critical_range_factor(25) == pytest.approx(np.quantile(simulated, 0.95), abs=0.02)


@given(st.integers(2, 24))
def test_critical_range_factor__law_more_replicates_may_lie_farther_apart(n: int) -> None:
    assert critical_range_factor(n) < critical_range_factor(n + 1)


@pytest.mark.parametrize("n", [1, 26, 2.5, math.nan])
def test_critical_range_factor__refuses_numbers_without_a_range(n: int) -> None:
    with pytest.raises(OutOfRangeError, match="n must be"):
        critical_range_factor(n)


def test_judge_replicates__closed_form_of_the_four_outcomes() -> None:
    outcomes = [
        ([24.0, 25.3], Report.MEAN_OF_TWO, 24.65),
        ([24.0, 25.5], Report.MEASURE_TWO_MORE, None),
        ([24.0, 25.5, 24.6, 25.0], Report.MEAN_OF_FOUR, 24.775),
        ([24.0, 25.9, 24.8, 25.1], Report.MEDIAN_OF_FOUR, 24.95),
    ]
    for values, report, value in outcomes:
        found = judge_replicates(values, 0.5)
        assert found.report is report
        assert found.value == pytest.approx(value)


def test_judge_replicates_says_what_it_held_the_spread_against() -> None:
    pair, four = judge_replicates([24.0, 25.3], 0.5), judge_replicates([24.0, 25.9, 24.8, 25.1], 0.5)
    assert (pair.spread, pair.limit) == pytest.approx((1.3, 1.4))
    assert (four.spread, four.limit) == pytest.approx((1.9, 1.8))
    assert (pair.flagged, four.flagged) == (False, True)


@pytest.mark.parametrize("low", [24.0, 0.1, 31.7, 1.1])
def test_judge_replicates__limit_a_pair_exactly_r_apart_in_decimals_agrees(low: float) -> None:
    assert judge_replicates([low, round(low + 1.4, 1)], 0.5).report is Report.MEAN_OF_TWO
    assert judge_replicates([low, low + 1.400001], 0.5).report is Report.MEASURE_TWO_MORE


@given(st.lists(st.floats(0, 100), min_size=4, max_size=4), st.floats(0.01, 10), st.permutations(range(4)))
def test_judge_replicates__law_the_order_of_the_four_does_not_matter(
    values: list[float], s_r: float, order: list[int]
) -> None:
    found = judge_replicates(values, s_r)
    assert judge_replicates([values[place] for place in order], s_r) == found
    assert found.value is not None
    assert min(values) - 1e-9 <= found.value <= max(values) + 1e-9


@pytest.mark.parametrize(
    ("values", "s_r"),
    [
        ([], 0.5),
        ([1.0], 0.5),
        ([1.0] * 3, 0.5),
        ([1.0] * 5, 0.5),
        ([1, math.nan], 0.5),
        ([1, 2], 0),
        ([1, 2], -1),
    ],
)
def test_judge_replicates__refuses_other_counts_and_no_scatter(values: list[float], s_r: float) -> None:
    with pytest.raises((OutOfRangeError, TooFewPointsError)):
        judge_replicates(values, s_r)


def test_judge_replicates__independent_simulation_one_good_pair_in_twenty_is_measured_again() -> None:
    pairs = np.random.default_rng(5).normal(30, 0.4, (4000, 2)).tolist()
    again = sum(judge_replicates(pair, 0.4).report is Report.MEASURE_TWO_MORE for pair in pairs)
    assert again / 4000 == pytest.approx(2 * stats.norm.sf(2.8 / math.sqrt(2)), abs=0.012)


def test_repeatability_deviation__closed_form_of_six_pairs() -> None:
    found = repeatability_deviation([0.3, -0.5, 0.2, 0.6, -0.4, 0.7])
    assert found == pytest.approx(math.sqrt(1.39 / 12), rel=1e-14)


def test_repeatability_deviation__limit_of_pairs_that_agree_is_zero() -> None:
    assert repeatability_deviation([0.0, 0.0]) == 0.0


@given(differences)
def test_repeatability_deviation__law_the_order_within_a_pair_does_not_matter(values: list[float]) -> None:
    assert repeatability_deviation([-value for value in values]) == repeatability_deviation(values)


@pytest.mark.parametrize("bad", [[], [0.3], [0.3, math.nan], [0.3, math.inf]])
def test_repeatability_deviation__refuses_one_pair_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        repeatability_deviation(bad)


@given(differences)
def test_repeatability_deviation__independent_pooled_variance_of_numpy(values: list[float]) -> None:
    pairs = np.column_stack([values, np.zeros(len(values))])
    assert repeatability_deviation(values) == pytest.approx(math.sqrt(pairs.var(axis=1, ddof=1).mean()))


def test_relative_difference__closed_form_of_an_example() -> None:
    assert relative_difference(24.0, 25.0) == pytest.approx(100 / 24.5, rel=1e-14)


def test_relative_difference__limit_runs_from_nothing_to_two_hundred() -> None:
    assert relative_difference(3.0, 3.0) == 0.0
    assert relative_difference(1.0, 1e18) == pytest.approx(200.0)


@given(st.floats(1e-3, 1e6), st.floats(1e-3, 1e6), st.floats(0.1, 10))
def test_relative_difference__law_order_and_unit_do_not_matter(a: float, b: float, scale: float) -> None:
    assert relative_difference(a, b) == relative_difference(b, a)
    assert relative_difference(a * scale, b * scale) == pytest.approx(relative_difference(a, b), abs=1e-9)


@pytest.mark.parametrize(("a", "b"), [(0.0, 1.0), (1.0, -1.0), (math.nan, 1.0), (1.0, math.inf)])
def test_relative_difference__refuses_contents_not_above_zero(a: float, b: float) -> None:
    with pytest.raises(OutOfRangeError):
        relative_difference(a, b)


@given(st.floats(1e-3, 1e6), st.floats(1e-3, 1e6))
def test_relative_difference__independent_ratio_of_spread_and_mean_of_numpy(a: float, b: float) -> None:
    assert relative_difference(a, b) == pytest.approx(100 * np.ptp([a, b]) / np.mean([a, b]), abs=1e-12)

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError, OutOfRangeError
from evaluate.so2_pairs import PairVerdict, combined_so2, free_so2_range, judge_pair

VALUES = st.floats(0.0, 300.0)
NOT_FINITE = (math.nan, math.inf, -math.inf)


def test_combined_so2__closed_form_a_difference() -> None:
    assert combined_so2(30.0, 112.0) == 82.0


def test_combined_so2__limit_exactly_at_the_allowance_it_is_zero() -> None:
    assert combined_so2(32.0, 30.0, allowance_mg_per_l=2.0) == 0.0


@given(VALUES, VALUES)
def test_combined_so2__law_it_is_never_negative(free: float, total: float) -> None:
    assert combined_so2(free, total, allowance_mg_per_l=300.0) >= 0


def test_combined_so2__independent_exact_fractions() -> None:
    assert combined_so2(28.2, 97.3) == pytest.approx(float(Fraction("97.3") - Fraction("28.2")), rel=1e-14)


def test_combined_so2__refuses_free_above_total_and_says_what_to_look_at() -> None:
    with pytest.raises(ContradictionError, match="exchanged") as refused:
        combined_so2(64.0, 34.0)
    assert (refused.value.value, refused.value.high) == (64.0, 34.0)


@pytest.mark.parametrize("bad", [-1.0, *NOT_FINITE])
def test_combined_so2__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        combined_so2(bad, 100.0)
    with pytest.raises(OutOfRangeError):
        combined_so2(10.0, bad)
    with pytest.raises(OutOfRangeError):
        combined_so2(10.0, 100.0, allowance_mg_per_l=bad)


@pytest.mark.parametrize(
    ("free", "verdict"),
    [
        (29.9, PairVerdict.POSSIBLE),
        (30.0, PairVerdict.POSSIBLE),
        (30.1, PairVerdict.WITHIN_UNCERTAINTY),
        (32.0, PairVerdict.WITHIN_UNCERTAINTY),
        (32.01, PairVerdict.IMPOSSIBLE),
    ],
)
def test_judge_pair__closed_form_twice_the_uncertainty_is_allowed(free: float, verdict: PairVerdict) -> None:
    assert judge_pair(free, 30.0, 1.0) is verdict


def test_judge_pair__limit_without_uncertainty_any_excess_is_impossible() -> None:
    assert judge_pair(30.001, 30.0, 0.0) is PairVerdict.IMPOSSIBLE


@given(VALUES, VALUES, st.floats(0, 10), st.floats(0.5, 4))
def test_judge_pair__law_a_wider_band_never_makes_a_pair_impossible(
    free: float, total: float, u: float, coverage: float
) -> None:
    order = list(PairVerdict)
    narrow = judge_pair(free, total, u, coverage=coverage)
    wide = judge_pair(free, total, u, coverage=coverage + 1)
    assert order.index(wide) <= order.index(narrow)


def test_judge_pair__independent_of_the_unit_of_both() -> None:
    assert judge_pair(33.0, 30.0, 1.0, coverage=3.0) is judge_pair(0.033, 0.030, 0.0011, coverage=3.0)


@pytest.mark.parametrize("bad", [-1.0, *NOT_FINITE])
def test_judge_pair__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        judge_pair(bad, 30.0, 1.0)
    with pytest.raises(OutOfRangeError):
        judge_pair(30.0, 30.0, bad)
    with pytest.raises(OutOfRangeError):
        judge_pair(30.0, 30.0, 1.0, coverage=bad)


def test_free_so2_range__published_bias_of_two_thirds() -> None:
    # Winemakers Research Exchange, January 2022: up to 66 % too high in red wine.
    assert free_so2_range(33.2, red=True).low_mg_per_l == pytest.approx(20.0, rel=1e-12)


def test_free_so2_range__limit_white_wine_stands_as_found_and_says_nothing() -> None:
    found = free_so2_range(33.2, red=False)
    assert (found.low_mg_per_l, found.high_mg_per_l, found.statement) == (33.2, 33.2, "")


def test_free_so2_range__closed_form_the_statement_goes_with_the_value() -> None:
    assert free_so2_range(33.2, red=True).statement.endswith("lies between 20 and 33 mg/L")


@given(VALUES)
def test_free_so2_range__law_the_value_is_the_upper_end(free: float) -> None:
    found = free_so2_range(free, red=True)
    assert 0 <= found.low_mg_per_l <= found.high_mg_per_l == free


def test_free_so2_range__independent_the_low_end_over_read_by_two_thirds_gives_the_value() -> None:
    low = Fraction(free_so2_range(30.0, red=True).low_mg_per_l)
    assert float(low * Fraction("1.66")) == pytest.approx(30.0, rel=1e-12)


@pytest.mark.parametrize("bad", [-1.0, *NOT_FINITE])
def test_free_so2_range__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        free_so2_range(bad, red=True)

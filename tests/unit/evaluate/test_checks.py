import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate import checks
from evaluate.errors import EvaluateError, OutOfRangeError, TooFewPointsError

FINITE = st.floats(allow_nan=False, allow_infinity=False)
NOT_FINITE = (math.nan, math.inf, -math.inf)


@given(FINITE)
def test_finite__law_every_finite_number_passes_unchanged(number: float) -> None:
    assert checks.finite("x", number) == number


@pytest.mark.parametrize("number", NOT_FINITE)
def test_finite__refuses_what_is_no_number(number: float) -> None:
    with pytest.raises(OutOfRangeError, match="titre must be a finite number") as refused:
        checks.finite("titre", number)
    assert refused.value.name == "titre"


@given(FINITE, FINITE, FINITE)
def test_in_range__law_the_middle_of_three_numbers_lies_between_the_others(
    a: float, b: float, c: float
) -> None:
    low, middle, high = sorted((a, b, c))
    assert checks.in_range("x", middle, low, high) == middle


def test_in_range__limit_both_bounds_are_allowed() -> None:
    assert checks.in_range("pH", 2.5, 2.5, 4.5) == 2.5
    assert checks.in_range("pH", 4.5, 2.5, 4.5) == 4.5


@pytest.mark.parametrize("number", [2.4999, 4.5001, *NOT_FINITE])
def test_in_range__refuses_what_lies_outside(number: float) -> None:
    with pytest.raises(OutOfRangeError):
        checks.in_range("pH", number, 2.5, 4.5)


def test_in_range__refuses_with_what_came_and_what_was_wanted() -> None:
    with pytest.raises(EvaluateError) as refused:
        checks.in_range("temperature", 15.0, 20.0, 40.0, "°C")
    assert str(refused.value) == "temperature must be from 20 to 40 °C, not 15"
    assert (refused.value.value, refused.value.low, refused.value.high) == (15.0, 20.0, 40.0)


def test_in_range__refuses_naming_only_the_bound_that_exists() -> None:
    with pytest.raises(OutOfRangeError, match="at least 3, not 2"):
        checks.in_range("x", 2.0, 3.0, math.inf)
    with pytest.raises(OutOfRangeError, match="at most 3, not 4"):
        checks.in_range("x", 4.0, -math.inf, 3.0)


@pytest.mark.parametrize("number", [0.5, 0.95, 0.9999])
def test_interval_probability__limit_both_bounds_are_allowed(number: float) -> None:
    assert checks.interval_probability(number) == number


@pytest.mark.parametrize("number", [0.0, 0.4999, 0.99991, 1.0, 95.0, *NOT_FINITE])
def test_interval_probability__refuses_what_says_nothing_or_too_much(number: float) -> None:
    with pytest.raises(OutOfRangeError, match="probability"):
        checks.interval_probability(number)


def test_positive__limit_the_smallest_number_above_zero_passes() -> None:
    assert checks.positive("volume", 5e-324) == 5e-324


@pytest.mark.parametrize("number", [0.0, -0.0, -1e-9, *NOT_FINITE])
def test_positive__refuses_zero_and_below(number: float) -> None:
    with pytest.raises(OutOfRangeError):
        checks.positive("volume", number, "mL")


def test_not_negative__limit_zero_passes() -> None:
    assert checks.not_negative("titre", 0.0) == 0.0


@pytest.mark.parametrize("number", [-1e-12, *NOT_FINITE])
def test_not_negative__refuses_below_zero(number: float) -> None:
    with pytest.raises(OutOfRangeError):
        checks.not_negative("titre", number)


def test_enough__limit_exactly_as_many_as_wanted_pass() -> None:
    assert checks.enough("replicates", 3, 3) == 3


def test_enough__refuses_one_too_few() -> None:
    with pytest.raises(TooFewPointsError, match="replicates: 2 given, at least 3 are needed") as refused:
        checks.enough("replicates", 2, 3)
    assert (refused.value.value, refused.value.low) == (2, 3)


def test_all_in_range__limit_keeps_shape_and_values() -> None:
    given_values = [[2.5, 3.0], [4.0, 4.5]]
    assert np.array_equal(checks.all_in_range("pH", given_values, 2.5, 4.5), np.array(given_values))


def test_all_in_range__limit_no_values_are_no_fault() -> None:
    assert checks.all_in_range("pH", [], 2.5, 4.5).shape == (0,)


@pytest.mark.parametrize("bad", [2.4, 4.6, *NOT_FINITE])
def test_all_in_range__refuses_the_first_value_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError) as refused:
        checks.all_in_range("pH", [3.0, bad, 9.0], 2.5, 4.5)
    assert str(refused.value.value) == str(bad)


def test_all_in_range__refuses_infinity_even_without_a_bound() -> None:
    with pytest.raises(OutOfRangeError):
        checks.all_in_range("free", [1.0, math.inf], 0.0, math.inf)

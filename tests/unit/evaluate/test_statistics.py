import math
import statistics
from collections.abc import Callable, Iterable
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import NotPredictableError, OutOfRangeError, TooFewPointsError
from evaluate.statistics import autocorrelation_lag1, mean, median, standard_deviation
from tundish.selftest.tables import figures, rows

STRD = ("lew", "lottery", "michelso", "numacc1", "numacc2", "numacc4")
numbers = st.floats(-1e9, 1e9)
rows_of_numbers = st.lists(numbers, min_size=3, max_size=30)


def strd(name: str) -> tuple[list[float], dict[str, float]]:
    path = f"nist_strd/{name}.csv"
    return [float(row["y"]) for row in rows(path)], figures(path)


@pytest.mark.parametrize("name", STRD)
def test_mean__published_nist_certified_to_fifteen_digits(name: str) -> None:
    values, certified = strd(name)
    assert mean(values) == pytest.approx(certified["certified_mean"], rel=1e-15)


def test_mean__limit_of_one_value_is_that_value() -> None:
    assert mean([0.1]) == 0.1


@given(rows_of_numbers, st.randoms(use_true_random=False))
def test_mean__law_the_order_does_not_matter(values: list[float], random: object) -> None:
    shuffled = sorted(values, key=lambda _value: random.random())  # type: ignore[attr-defined]  # a seeded Random
    assert mean(shuffled) == mean(values)


@pytest.mark.parametrize("bad", [[], [1.0, math.nan], [math.inf], [-1.001e150]])
def test_mean__refuses_nothing_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        mean(bad)


@given(rows_of_numbers)
def test_mean__independent_exact_fractions(values: list[float]) -> None:
    exact = sum(map(Fraction, values)) / len(values)
    assert mean(values) == pytest.approx(float(exact), rel=1e-15, abs=0)


def test_median__closed_form_of_odd_and_even_counts() -> None:
    assert median([24.0, 25.9, 24.8]) == 24.8
    assert median([24.0, 25.9, 24.8, 25.1]) == pytest.approx(24.95, abs=1e-12)


def test_median__limit_one_wild_value_moves_it_no_farther_than_its_neighbour() -> None:
    assert median([1.0, 2.0, 3.0, 4.0, 1e150]) == 3.0


@given(rows_of_numbers)
def test_median__law_half_of_the_values_lie_on_either_side(values: list[float]) -> None:
    middle = median(values)
    assert 2 * sum(value <= middle for value in values) >= len(values)
    assert 2 * sum(value >= middle for value in values) >= len(values)


@pytest.mark.parametrize("bad", [[], [1.0, math.nan]])
def test_median__refuses_nothing_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        median(bad)


@given(rows_of_numbers)
def test_median__independent_of_the_standard_library(values: list[float]) -> None:
    assert median(values) == pytest.approx(statistics.median(values), rel=1e-15, abs=0)


@pytest.mark.parametrize("name", STRD)
def test_standard_deviation__published_nist_certified(name: str) -> None:
    values, certified = strd(name)
    relative = {"numacc4": 1e-8}.get(name, 1e-12)  # the data of numacc4 are not exact in binary
    assert standard_deviation(values) == pytest.approx(certified["certified_sd"], rel=relative)


def test_standard_deviation__closed_form_where_the_mean_itself_is_rounded() -> None:
    # 0, 2 and 2 above 2^53: the mean, 4/3 above it, has no double; the deviation is 2 over the root of 3.
    values = [2.0**53, 2.0**53 + 2, 2.0**53 + 2]
    assert standard_deviation(values) == pytest.approx(2 / math.sqrt(3), rel=1e-15)


def test_standard_deviation__limit_of_equal_values_is_zero() -> None:
    assert standard_deviation([0.1] * 7) == 0.0


@given(rows_of_numbers, st.integers(-(2**40), 2**40))
def test_standard_deviation__law_a_shift_does_not_move_it(values: list[float], shift: int) -> None:
    whole = [float(round(value)) for value in values]
    assert standard_deviation([value + shift for value in whole]) == pytest.approx(
        standard_deviation(whole), rel=1e-12, abs=1e-12
    )


@pytest.mark.parametrize("bad", [[], [1.0], [1.0, math.nan], [1.0, math.inf], [0.0, 1.001e150]])
def test_standard_deviation__refuses_too_few_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        standard_deviation(bad)


@given(rows_of_numbers)
def test_standard_deviation__independent_exact_fractions(values: list[float]) -> None:
    exact = [Fraction(value) for value in values]
    centre = sum(exact) / len(exact)
    variance = sum((value - centre) ** 2 for value in exact) / (len(exact) - 1)
    found = standard_deviation(values)
    assert found == pytest.approx(math.sqrt(variance), rel=1e-9, abs=1e-7 * max(map(abs, values)) * 1e-8)


@pytest.mark.parametrize("name", STRD)
def test_autocorrelation_lag1__published_nist_certified(name: str) -> None:
    values, certified = strd(name)
    relative = {"numacc4": 1e-8}.get(name, 1e-12)  # the data of numacc4 are not exact in binary
    expected = certified["certified_autocorrelation_lag1"]
    assert autocorrelation_lag1(values) == pytest.approx(expected, rel=relative)


def test_autocorrelation_lag1__limit_of_a_long_steady_climb_is_nearly_one() -> None:
    assert 0.99 < autocorrelation_lag1(range(1000)) < 1.0


@given(rows_of_numbers.filter(lambda values: max(values) - min(values) > 1e-3))
def test_autocorrelation_lag1__law_it_lies_within_one_and_reads_either_way(values: list[float]) -> None:
    found = autocorrelation_lag1(values)
    assert -1 <= found <= 1
    assert autocorrelation_lag1(values[::-1]) == pytest.approx(found, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("bad", [[1.0, 2.0], [1.0, 2.0, math.nan], [3.0, 3.0, 3.0]])
def test_autocorrelation_lag1__refuses_too_few_and_values_all_equal(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError, NotPredictableError)):
        autocorrelation_lag1(bad)


def test_autocorrelation_lag1__independent_exact_fractions() -> None:
    values = [Fraction(v) for v in (3, 1, 4, 1, 5, 9, 2, 6)]
    centre = sum(values, Fraction()) / len(values)
    d = [value - centre for value in values]
    exact = sum(a * b for a, b in pairwise(d)) / sum(a * a for a in d)
    assert autocorrelation_lag1(map(float, values)) == pytest.approx(float(exact), rel=1e-14)


@pytest.mark.parametrize(
    ("function", "fewest"),
    [(mean, 1), (median, 1), (standard_deviation, 2), (autocorrelation_lag1, 3)],
)
def test_each_names_how_many_values_it_wants(
    function: Callable[[Iterable[float]], float], fewest: int
) -> None:
    with pytest.raises(TooFewPointsError, match=f"at least {fewest}"):
        function([1.0] * (fewest - 1))


def test_values_up_to_the_greatest_size_are_taken() -> None:
    assert standard_deviation([-1e150, 1e150]) == pytest.approx(math.sqrt(2) * 1e150, rel=1e-12)

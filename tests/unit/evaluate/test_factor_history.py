import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError, NotPredictableError, OutOfRangeError
from evaluate.factor_history import FactorEntry, factor_in_force, factor_on_line

HISTORY = [FactorEntry(1.0, 1.002), FactorEntry(8.0, 1.000), FactorEntry(15.0, 0.985)]


@pytest.mark.parametrize(
    ("day", "factor"), [(1.0, 1.002), (7.99, 1.002), (8.0, 1.000), (14.9, 1.000), (99.0, 0.985)]
)
def test_factor_in_force__closed_form_the_latest_not_after_the_day(day: float, factor: float) -> None:
    assert factor_in_force(HISTORY, day).factor == factor


def test_factor_in_force__limit_of_two_on_one_day_the_later_entry_holds() -> None:
    assert factor_in_force([FactorEntry(1.0, 1.0), FactorEntry(1.0, 1.1)], 1.0).factor == 1.1


@given(st.floats(1.0, 100.0), st.floats(0.5, 2.0))
def test_factor_in_force__law_a_later_entry_moves_no_earlier_day(day: float, factor: float) -> None:
    later = [*HISTORY, FactorEntry(day + 0.001, factor)]
    assert factor_in_force(later, day) == factor_in_force(HISTORY, day)


@given(st.permutations(HISTORY), st.floats(1.0, 50.0))
def test_factor_in_force__independent_numpy_search(history: list[FactorEntry], day: float) -> None:
    place = int(np.searchsorted([1.0, 8.0, 15.0], day, side="right")) - 1
    assert factor_in_force(history, day) == HISTORY[place]


def test_factor_in_force__refuses_a_day_before_the_first() -> None:
    with pytest.raises(NotPredictableError, match=r"not standardised by day 0\.9"):
        factor_in_force(HISTORY, 0.9)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_factor_in_force__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        factor_in_force(HISTORY, bad)
    with pytest.raises(OutOfRangeError):
        factor_in_force([FactorEntry(bad, 1.0)], 5.0)
    with pytest.raises(OutOfRangeError):
        factor_in_force([FactorEntry(1.0, bad)], 5.0)


@pytest.mark.parametrize("bad", [0.0, -1.0])
def test_factor_in_force__refuses_a_factor_that_is_none(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="factor"):
        factor_in_force([FactorEntry(1.0, bad)], 5.0)


@pytest.mark.parametrize(
    ("day", "factor"), [(1.0, 1.002), (4.5, 1.001), (8.0, 1.000), (10.0, 1.0 - 0.015 * 2 / 7)]
)
def test_factor_on_line__closed_form_even_change_between_entries(day: float, factor: float) -> None:
    assert factor_on_line(HISTORY, day) == pytest.approx(factor, rel=1e-14)


@pytest.mark.parametrize("day", [15.0, 15.5, 400.0])
def test_factor_on_line__limit_from_the_last_entry_on_its_factor_holds(day: float) -> None:
    assert factor_on_line(HISTORY, day) == 0.985


def test_factor_on_line__limit_a_single_entry_is_a_level() -> None:
    assert factor_on_line([FactorEntry(2.0, 0.99)], 9.0) == 0.99


@given(st.floats(1.0, 15.0))
def test_factor_on_line__law_it_lies_between_the_steps_on_either_side(day: float) -> None:
    steps = [entry.factor for entry in HISTORY]
    low = min(factor for factor in steps if factor <= factor_in_force(HISTORY, day).factor)
    assert low - 1e-15 <= factor_on_line(HISTORY, day) <= factor_in_force(HISTORY, day).factor + 1e-15


@given(st.permutations(HISTORY), st.floats(1.0, 50.0))
def test_factor_on_line__independent_numpy_interpolation(history: list[FactorEntry], day: float) -> None:
    expected = np.interp(day, [1.0, 8.0, 15.0], [1.002, 1.000, 0.985])
    assert factor_on_line(history, day) == pytest.approx(float(expected), rel=1e-13)


def test_factor_on_line__refuses_a_day_before_the_first() -> None:
    with pytest.raises(NotPredictableError, match="standardise it"):
        factor_on_line(HISTORY, 0.99)


def test_factor_on_line__refuses_two_factors_from_one_day() -> None:
    with pytest.raises(ContradictionError, match=r"two factors hold from day 8, 1 and 1\.1"):
        factor_on_line([*HISTORY, FactorEntry(8.0, 1.1)], 9.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_factor_on_line__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        factor_on_line(HISTORY, bad)
    with pytest.raises(OutOfRangeError):
        factor_on_line([FactorEntry(1.0, bad)], 5.0)

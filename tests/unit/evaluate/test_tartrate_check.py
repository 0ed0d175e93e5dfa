import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError
from evaluate.tartrate_check import check_in_tartrate, saturated_tartrate_ph

NOT_FINITE = (math.nan, math.inf, -math.inf)
# National pH scale as read in a reprint, and NBS 1962 as recalled, side by side.
READ = [(25.0, 3.559), (30.0, 3.551), (35.0, 3.547), (40.0, 3.547)]
RECALLED = [(25.0, 3.557), (30.0, 3.552), (35.0, 3.549), (40.0, 3.547)]


@pytest.mark.parametrize(("temperature", "ph"), READ)
def test_saturated_tartrate_ph__published_national_scale_within_its_difference(
    temperature: float, ph: float
) -> None:
    assert saturated_tartrate_ph(temperature) == pytest.approx(ph, abs=0.003)


@pytest.mark.parametrize(("temperature", "ph"), RECALLED)
def test_saturated_tartrate_ph__limit_at_a_row_it_is_the_row(temperature: float, ph: float) -> None:
    assert saturated_tartrate_ph(temperature) == pytest.approx(ph, abs=1e-12)


@given(st.floats(25.0, 40.0))
def test_saturated_tartrate_ph__independent_interpolation_by_numpy(temperature: float) -> None:
    expected = np.interp(temperature, [t for t, _ in RECALLED], [ph for _, ph in RECALLED])
    assert saturated_tartrate_ph(temperature) == pytest.approx(float(expected), abs=1e-12)


@given(st.floats(25.0, 40.0), st.floats(25.0, 40.0))
def test_saturated_tartrate_ph__law_warmer_is_never_higher(a: float, b: float) -> None:
    cold, warm = sorted((a, b))
    assert saturated_tartrate_ph(warm) <= saturated_tartrate_ph(cold) + 1e-12


@pytest.mark.parametrize("bad", [24.9, 40.1, *NOT_FINITE])
def test_saturated_tartrate_ph__refuses_what_the_table_does_not_hold(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        saturated_tartrate_ph(bad)


def test_check_in_tartrate__closed_form_difference_and_verdict() -> None:
    found = check_in_tartrate(3.600, 25.0)
    assert found.expected_ph == pytest.approx(3.557)
    assert found.difference_ph == pytest.approx(0.043)
    assert found.passed


@pytest.mark.parametrize(
    ("read", "passed"), [(3.5068, False), (3.5072, True), (3.6068, True), (3.6072, False)]
)
def test_check_in_tartrate__limit_five_hundredths_on_either_side(read: float, *, passed: bool) -> None:
    assert check_in_tartrate(read, 25.0).passed is passed


@given(st.floats(3.0, 4.0), st.floats(25.0, 40.0))
def test_check_in_tartrate__law_read_is_expected_and_difference(read: float, temperature: float) -> None:
    found = check_in_tartrate(read, temperature)
    assert found.expected_ph + found.difference_ph == pytest.approx(read)


def test_check_in_tartrate__independent_half_way_between_two_rows() -> None:
    assert check_in_tartrate(3.6, 27.5).expected_ph == pytest.approx((3.557 + 3.552) / 2, abs=1e-12)


@pytest.mark.parametrize("bad", [-0.1, 14.1, *NOT_FINITE])
def test_check_in_tartrate__refuses_bad_readings(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        check_in_tartrate(bad, 25.0)


@pytest.mark.parametrize("bad", [0.0, -0.05, math.nan])
def test_check_in_tartrate__refuses_a_bad_allowance(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        check_in_tartrate(3.56, 25.0, allowed_ph=bad)

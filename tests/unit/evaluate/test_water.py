import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError
from evaluate.water import water_tally

NOT_FINITE = (math.nan, math.inf, -math.inf)


def test_water_tally__published_one_per_cent_of_the_regulation() -> None:
    # 27 CFR 24.246(a)(2), 2001: at most 1 % of the volume of the wine.
    found = water_tally([6000.0, 4000.0], 1000.0)
    assert (found.water_l, found.share, found.left_l, found.within) == pytest.approx((10.0, 0.01, 0.0, True))


def test_water_tally__closed_form_what_is_left() -> None:
    found = water_tally([2500.0], 1000.0)
    assert found.left_l == pytest.approx(7.5)
    assert found.within


def test_water_tally__closed_form_over_the_share_nothing_is_left() -> None:
    found = water_tally([10_001.0], 1000.0)
    assert (found.left_l, found.within) == (0.0, False)


def test_water_tally__limit_no_treatment_no_water() -> None:
    found = water_tally([], 1000.0)
    assert (found.water_l, found.share, found.within) == (0.0, 0.0, True)


@given(st.lists(st.floats(0, 5000), max_size=6), st.floats(10, 10_000))
def test_water_tally__law_share_times_wine_is_the_water(water: list[float], wine: float) -> None:
    found = water_tally(water, wine)
    assert found.share * wine == pytest.approx(found.water_l)
    assert found.water_l * 1000 == pytest.approx(math.fsum(water))


def test_water_tally__independent_exact_fractions_at_another_share() -> None:
    found = water_tally([350.0, 125.5], 225.0, allowed_share=0.005)
    left = Fraction(225) * Fraction("0.005") - Fraction("475.5") / 1000
    assert found.left_l == pytest.approx(float(left), rel=1e-12)


def test_water_tally__limit_a_tenth_is_the_most_that_can_be_allowed() -> None:
    assert water_tally([], 1000.0, allowed_share=0.1).left_l == pytest.approx(100.0)
    with pytest.raises(OutOfRangeError):
        water_tally([], 1000.0, allowed_share=0.1001)


@pytest.mark.parametrize("bad", [-1.0, *NOT_FINITE])
def test_water_tally__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        water_tally([10.0, bad], 1000.0)
    with pytest.raises(OutOfRangeError):
        water_tally([10.0], bad)
    with pytest.raises(OutOfRangeError):
        water_tally([10.0], 1000.0, allowed_share=bad)

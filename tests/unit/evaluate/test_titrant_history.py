import math
from random import Random

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError, TooFewPointsError
from evaluate.titrant import Standardisation, standardise
from evaluate.titrant_history import (
    compare_factors,
    predicted_bias,
    restandardise_after,
    titrant_loss,
)

RATES = st.floats(-1.0, 1.0)


# A new factor beside the old one.


def replicates(strength: float, spread: float = 0.0001, count: int = 3) -> Standardisation:
    return standardise([strength * (1 + spread * (i - (count - 1) / 2)) for i in range(count)], 0.1)


def test_compare_factors__closed_form_change() -> None:
    change = compare_factors(replicates(0.1), replicates(0.0994))
    assert change.change_pct == pytest.approx(-0.6)
    assert change.is_flagged


@pytest.mark.parametrize(
    ("strength", "exceeds"), [(0.10049, False), (0.10051, True), (0.09951, False), (0.09949, True)]
)
def test_compare_factors__limit_of_the_change(strength: float, exceeds: bool) -> None:
    assert compare_factors(replicates(0.1, 0.01), replicates(strength, 0.01)).exceeds_limit is exceeds


def test_compare_factors__limit_no_change_and_no_scatter() -> None:
    change = compare_factors(replicates(0.1, 0.0), replicates(0.1, 0.0))
    assert (change.change_pct, change.is_flagged) == (0.0, False)


@given(st.floats(0.09, 0.11), st.floats(0.09, 0.11))
def test_compare_factors__law_the_way_back_is_the_inverse(one: float, two: float) -> None:
    there, back = (
        compare_factors(replicates(one), replicates(two)),
        compare_factors(replicates(two), replicates(one)),
    )
    assert (1 + there.change_pct / 100) * (1 + back.change_pct / 100) == pytest.approx(1.0)
    assert there.exceeds_scatter is back.exceeds_scatter


@pytest.mark.parametrize("seed", range(30))
def test_compare_factors__independent_t_test_of_scipy(seed: int) -> None:
    random = Random(seed)
    one = [0.1 + 0.0001 * random.gauss(0, 1) for _ in range(4)]
    two = [0.1002 + 0.0002 * random.gauss(0, 1) for _ in range(6)]
    significant = scipy.stats.ttest_ind(one, two).pvalue < 0.05
    assert compare_factors(standardise(one, 0.1), standardise(two, 0.1)).exceeds_scatter == significant


@pytest.mark.parametrize(("limit", "probability"), [(0.0, 0.95), (math.nan, 0.95), (0.5, 0.49), (0.5, 1.0)])
def test_compare_factors__refuses_limits_that_make_no_sense(limit: float, probability: float) -> None:
    with pytest.raises(OutOfRangeError):
        compare_factors(replicates(0.1), replicates(0.1), most_change_pct=limit, probability=probability)


# The loss.


def test_titrant_loss__closed_form_a_straight_loss() -> None:
    # 1.000, 0.998, 0.996: 0.2 % a day of the last value.
    loss = titrant_loss([0.0, 1.0, 2.0], [1.000, 0.998, 0.996])
    assert loss.pct_per_day == pytest.approx(100 * 0.002 / 0.996)
    assert loss.is_certain


def test_titrant_loss__limit_level_factors_lose_nothing() -> None:
    loss = titrant_loss([0.0, 1.0, 2.0], [1.0, 1.0, 1.0])
    assert (loss.pct_per_day, loss.is_certain) == (0.0, False)


@given(st.floats(0.5, 2.0), st.floats(-100.0, 100.0))
def test_titrant_loss__law_scale_and_start_do_not_matter(scale: float, start: float) -> None:
    days, factors = [0.0, 7.0, 14.0, 20.0], [1.002, 0.999, 0.997, 0.996]
    plain = titrant_loss(days, factors)
    moved = titrant_loss([start + day for day in days], [scale * factor for factor in factors])
    assert moved.pct_per_day == pytest.approx(plain.pct_per_day)
    assert moved.low_pct_per_day == pytest.approx(plain.low_pct_per_day)


def test_titrant_loss__independent_scipy() -> None:
    days, factors = [0.0, 7.0, 14.0, 20.0], [1.002, 0.999, 0.997, 0.996]
    line = scipy.stats.linregress(days, factors)
    last, half = line.intercept + 20 * line.slope, scipy.stats.t.ppf(0.975, 2) * line.stderr
    loss = titrant_loss(days, factors)
    assert loss.pct_per_day == pytest.approx(-100 * line.slope / last)
    assert loss.low_pct_per_day == pytest.approx(100 * (-line.slope - half) / last)
    assert loss.high_pct_per_day == pytest.approx(100 * (-line.slope + half) / last)


def test_titrant_loss__refuses_two_standardisations() -> None:
    with pytest.raises(TooFewPointsError):
        titrant_loss([0.0, 1.0], [1.0, 0.9])


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_titrant_loss__refuses_what_is_no_factor(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        titrant_loss([0.0, 1.0, 2.0], [1.0, 1.0, bad])


def test_titrant_loss__refuses_days_that_are_one_or_unpaired() -> None:
    with pytest.raises(OutOfRangeError):
        titrant_loss([1.0, 1.0, 1.0], [1.0, 1.0, 1.0])
    with pytest.raises(OutOfRangeError):
        titrant_loss([1.0, 2.0, 3.0, 4.0], [1.0, 1.0, 1.0])


# The bias of an old factor.


@pytest.mark.parametrize(
    ("age", "rate", "bias"),
    [(8.0, 0.25, 100 * 0.02 / 0.98), (10.0, 5.0, 100.0), (4.0, -0.5, -100 * 0.02 / 1.02)],
)
def test_predicted_bias__closed_form_worked_by_hand(age: float, rate: float, bias: float) -> None:
    assert predicted_bias(age, rate) == pytest.approx(bias)


def test_predicted_bias__limit_a_fresh_factor_or_no_loss() -> None:
    assert predicted_bias(0.0, 0.5) == 0.0
    assert predicted_bias(30.0, 0.0) == 0.0


@given(st.floats(0.0, 40.0), RATES)
def test_predicted_bias__law_the_sign_is_that_of_the_loss(age: float, rate: float) -> None:
    assert predicted_bias(age, rate) * rate >= 0


@pytest.mark.parametrize("rate", [-0.3, 0.02, 0.25])
def test_predicted_bias__independent_titration_with_the_weaker_titrant(rate: float) -> None:
    true_mmol, old = 2.0, 0.1000
    now = old * (1 - 8.0 * rate / 100)
    volume_ml = true_mmol / now
    assert predicted_bias(8.0, rate) == pytest.approx(100 * (volume_ml * old / true_mmol - 1))


@pytest.mark.parametrize(
    ("age", "rate"), [(-1.0, 0.1), (math.nan, 0.1), (1.0, math.inf), (10.0, 5.01), (10.0, -5.01)]
)
def test_predicted_bias__refuses_what_is_outside(age: float, rate: float) -> None:
    with pytest.raises(OutOfRangeError):
        predicted_bias(age, rate)


def test_restandardise_after__closed_form_worked_by_hand() -> None:
    # A bias of 1 % comes when 1/1.01 of the strength is lost to 0.990 %: 3.96 days at 0.25 % a day.
    assert restandardise_after(1.0, 0.25) == pytest.approx(100 / 101 / 0.25)


def test_restandardise_after__limit_no_loss_no_need() -> None:
    assert restandardise_after(1.0, 0.0) == math.inf


@given(st.floats(0.01, 30.0), st.floats(0.01, 1.0), st.sampled_from([1.0, -1.0]))
def test_restandardise_after__law_the_bias_at_that_age_is_the_allowed_one(
    allowed: float, rate: float, sign: float
) -> None:
    age = restandardise_after(allowed, sign * rate)
    assert predicted_bias(age, sign * rate) == pytest.approx(sign * allowed)


@pytest.mark.parametrize("rate", [-0.3, 0.05])
def test_restandardise_after__independent_search_day_by_day(rate: float) -> None:
    days = np.arange(0.0, 100.0, 0.001)
    bias = 100 * np.abs(1 / (1 - days * rate / 100) - 1)
    first = float(days[np.argmax(bias >= 0.5)])
    assert restandardise_after(0.5, rate) == pytest.approx(first, abs=0.0011)


@pytest.mark.parametrize(
    ("allowed", "rate"), [(0.0, 0.1), (-1.0, 0.1), (30.1, 0.1), (math.nan, 0.1), (1.0, math.inf)]
)
def test_restandardise_after__refuses_what_is_outside(allowed: float, rate: float) -> None:
    with pytest.raises(OutOfRangeError):
        restandardise_after(allowed, rate)


def test_half_a_per_cent_is_flagged_unless_another_limit_is_given() -> None:
    assert not compare_factors(replicates(0.1, 0.01), replicates(0.100499, 0.01)).exceeds_limit
    assert compare_factors(replicates(0.1, 0.01), replicates(0.100501, 0.01)).exceeds_limit


def test_the_ends_of_every_range_of_an_old_factor_are_taken() -> None:
    assert predicted_bias(10.0, 5.0) == pytest.approx(100.0)
    assert predicted_bias(10.0, -5.0) == pytest.approx(-100 / 3)
    assert restandardise_after(30.0, 1.0) == pytest.approx(100 * 30 / 130)


@pytest.mark.parametrize(("share", "exceeds"), [(1.0005, True), (0.9995, False)])
@pytest.mark.parametrize("probability", [0.5, 0.95])
def test_compare_factors__independent_critical_difference(
    share: float, exceeds: bool, probability: float
) -> None:
    # Two sets of unlike size and scatter, moved apart to Student's t times the pooled error.
    one, two = (
        np.array([0.0999, 0.1001, 0.1002, 0.0998]),
        np.array([0.1, 0.1003, 0.0997, 0.1005, 0.0995, 0.1]),
    )
    pooled = (3 * one.var(ddof=1) + 5 * two.var(ddof=1)) / 8
    critical = scipy.stats.t.ppf((1 + probability) / 2, 8) * math.sqrt(pooled * (1 / 4 + 1 / 6))
    moved = two - two.mean() + one.mean() + share * critical
    change = compare_factors(
        standardise(one.tolist(), 0.1), standardise(moved.tolist(), 0.1), probability=probability
    )
    assert change.exceeds_scatter is exceeds

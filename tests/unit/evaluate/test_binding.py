import math
import statistics
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.binding import (
    ONE_THIRD,
    Addition,
    Binding,
    addition_for_free,
    found_share,
    learn_binding,
    predicted_free,
)
from evaluate.errors import NotPredictableError, OutOfRangeError, TooFewPointsError

NOT_FINITE = (math.nan, math.inf, -math.inf)
ADDITIONS = st.builds(Addition, st.floats(0, 60), st.floats(5, 100), st.floats(0, 150))


def test_found_share__closed_form_one_third_bound() -> None:
    assert found_share(Addition(10.0, 30.0, 30.0)) == pytest.approx(1 / 3)


def test_found_share__limit_nothing_bound_and_all_bound() -> None:
    assert found_share(Addition(10.0, 30.0, 40.0)) == pytest.approx(0.0)
    assert found_share(Addition(10.0, 30.0, 10.0)) == pytest.approx(1.0)


def test_found_share__limit_errors_of_measurement_may_leave_zero_to_one() -> None:
    assert found_share(Addition(10.0, 10.0, 21.0)) == pytest.approx(-0.1)
    assert found_share(Addition(10.0, 10.0, 9.0)) == pytest.approx(1.1)


@given(ADDITIONS)
def test_found_share__law_bound_and_free_make_the_addition(one: Addition) -> None:
    free_part = one.free_after_mg_per_l - one.free_before_mg_per_l
    assert found_share(one) * one.added_mg_per_l + free_part == pytest.approx(one.added_mg_per_l)


def test_found_share__independent_exact_fractions() -> None:
    exact = 1 - (Fraction("27.5") - Fraction("12.1")) / 25
    assert found_share(Addition(12.1, 25.0, 27.5)) == pytest.approx(float(exact), rel=1e-13)


@pytest.mark.parametrize(
    "bad",
    [
        Addition(-1, 10, 10),
        Addition(10, 0, 10),
        Addition(10, -5, 10),
        Addition(10, 5, -1),
        Addition(math.nan, 5, 1),
    ],
)
def test_found_share__refuses_bad_inputs(bad: Addition) -> None:
    with pytest.raises(OutOfRangeError):
        found_share(bad)


def test_learn_binding__closed_form_the_larger_addition_counts_by_its_square() -> None:
    # Shares 0.2 of 10 and 0.4 of 20: (100 x 0.2 + 400 x 0.4) / 500.
    found = learn_binding([Addition(10, 10, 18), Addition(20, 20, 32)], "this lot")
    assert found.share == pytest.approx(0.36)
    assert (found.source, found.additions) == ("this lot", 2)


def test_learn_binding__closed_form_equal_additions_have_the_plain_spread() -> None:
    shares = [0.30, 0.40, 0.35]
    found = learn_binding([Addition(10, 20, 10 + 20 * (1 - share)) for share in shares])
    assert found.spread == pytest.approx(statistics.stdev(shares) * math.sqrt(1 + 1 / 3))


def test_learn_binding__limit_one_addition_has_no_spread() -> None:
    found = learn_binding([Addition(10, 30, 30)])
    assert found.share == pytest.approx(1 / 3)
    assert found.spread is None


def test_learn_binding__limit_two_equal_shares_have_no_scatter() -> None:
    assert learn_binding([Addition(10, 30, 30)] * 2).spread == pytest.approx(0.0, abs=1e-12)


def test_learn_binding__limit_a_share_is_kept_where_a_dose_makes_sense() -> None:
    assert learn_binding([Addition(10, 10, 9)]).share == 0.95
    assert learn_binding([Addition(10, 10, 21)]).share == 0.0


@given(st.lists(ADDITIONS, min_size=1, max_size=8))
def test_learn_binding__law_it_lies_among_the_shares_it_was_learned_from(additions: list[Addition]) -> None:
    shares = [min(max(found_share(one), 0.0), 0.95) for one in additions]
    assert min(shares) - 1e-9 <= learn_binding(additions).share <= max(shares) + 1e-9


def test_learn_binding__independent_least_squares_through_zero() -> None:
    rng = np.random.default_rng(7)
    added = rng.uniform(10, 60, 12)
    bound = 0.4 * added + rng.normal(0, 1.5, 12)
    slope = float(np.linalg.lstsq(added[:, None], bound, rcond=None)[0][0])
    additions = [Addition(20, a, 20 + a - b) for a, b in zip(added.tolist(), bound.tolist(), strict=True)]
    assert learn_binding(additions).share == pytest.approx(slope)


def test_learn_binding__refuses_to_learn_from_nothing() -> None:
    with pytest.raises(TooFewPointsError):
        learn_binding([])


def test_learn_binding__refuses_bad_values() -> None:
    with pytest.raises(OutOfRangeError):
        learn_binding([Addition(10, 30, 30), Addition(10, 0, 30)])


def test_addition_for_free__published_one_third_binds() -> None:
    # A wine guild's advice: to go from 10 to 30 mg/L add 30. Weak source: it tests the arithmetic.
    assert addition_for_free(10.0, 30.0, 1 / 3) == pytest.approx(30.0, abs=0.1)


def test_addition_for_free__limit_nothing_binds() -> None:
    assert addition_for_free(10.0, 30.0, 0.0) == 20.0


def test_addition_for_free__limit_the_target_is_met_already() -> None:
    assert addition_for_free(30.0, 30.0, 0.5) == 0.0
    assert addition_for_free(31.0, 30.0, 0.5) == 0.0


@given(st.floats(1, 60), st.floats(0, 100), st.floats(0, 0.95))
def test_addition_for_free__law_the_prediction_meets_the_target(
    now: float, rise: float, share: float
) -> None:
    added = addition_for_free(now, now + rise, share)
    expected, _, _ = predicted_free(now, added, Binding(share, "given"))
    assert expected == pytest.approx(now + rise)


def test_addition_for_free__independent_exact_fractions() -> None:
    exact = (Fraction(35) - Fraction("12.5")) / (1 - Fraction("0.42"))
    assert addition_for_free(12.5, 35.0, 0.42) == pytest.approx(float(exact), rel=1e-13)


def test_addition_for_free__refuses_zero_free_and_says_what_to_do() -> None:
    with pytest.raises(NotPredictableError, match="add a first dose, wait a day, measure"):
        addition_for_free(0.0, 30.0, 1 / 3)


@pytest.mark.parametrize(
    ("now", "target", "share"),
    [(-1, 30, 0.3), (10, -1, 0.3), (10, 501, 0.3), (10, 30, -0.1), (10, 30, 0.96), (math.nan, 30, 0.3)],
)
def test_addition_for_free__refuses_bad_inputs(now: float, target: float, share: float) -> None:
    with pytest.raises(OutOfRangeError):
        addition_for_free(now, target, share)


def test_predicted_free__closed_form_with_a_spread() -> None:
    found = predicted_free(10.0, 30.0, Binding(0.4, "learned", spread=0.05, additions=4))
    assert found == pytest.approx((28.0, 25.0, 31.0))


def test_predicted_free__closed_form_another_coverage() -> None:
    found = predicted_free(10.0, 30.0, Binding(0.4, "learned", spread=0.05), coverage=1.0)
    assert found == pytest.approx((28.0, 26.5, 29.5))


def test_predicted_free__limit_without_a_spread_all_or_nothing_may_bind() -> None:
    assert predicted_free(10.0, 30.0, ONE_THIRD, coverage=0.01) == pytest.approx((30.0, 10.0, 40.0))


def test_predicted_free__limit_nothing_added() -> None:
    assert predicted_free(10.0, 0.0, ONE_THIRD) == (10.0, 10.0, 10.0)


@given(st.floats(1, 60), st.floats(0, 100), st.floats(0, 1), st.floats(0, 1))
def test_predicted_free__law_the_bounds_hold_the_value(
    now: float, added: float, share: float, spread: float
) -> None:
    expected, low, high = predicted_free(now, added, Binding(share, "given", spread))
    assert now - 1e-9 <= low <= expected + 1e-9
    assert expected - 1e-9 <= high <= now + added + 1e-9


def test_predicted_free__independent_simulation_of_the_share() -> None:
    rng = np.random.default_rng(11)
    free = 15 + 40 * (1 - rng.normal(0.35, 0.04, 200_000))
    expected, low, high = predicted_free(15.0, 40.0, Binding(0.35, "learned", 0.04), coverage=1.96)
    assert expected == pytest.approx(float(np.mean(free)), abs=0.02)
    assert [low, high] == pytest.approx(np.percentile(free, [2.5, 97.5]).tolist(), abs=0.05)


def test_predicted_free__refuses_zero_free() -> None:
    with pytest.raises(NotPredictableError):
        predicted_free(0.0, 30.0, ONE_THIRD)


@pytest.mark.parametrize("bad", [-1.0, *NOT_FINITE])
def test_predicted_free__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        predicted_free(bad, 30.0, ONE_THIRD)
    with pytest.raises(OutOfRangeError):
        predicted_free(10.0, bad, ONE_THIRD)
    with pytest.raises(OutOfRangeError):
        predicted_free(10.0, 30.0, ONE_THIRD, coverage=bad)


@pytest.mark.parametrize("share", [-0.001, 1.001, math.nan])
def test_predicted_free__refuses_a_bad_share(share: float) -> None:
    with pytest.raises(OutOfRangeError):
        predicted_free(10.0, 30.0, Binding(share, "given", 0.1))

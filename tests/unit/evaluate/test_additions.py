import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.additions import AdditionPlan, LotState, plan_for_dose, plan_for_target
from evaluate.binding import ONE_THIRD, Binding
from evaluate.errors import ContradictionError, NotPredictableError, OutOfRangeError
from evaluate.limits import LimitVerdict
from evaluate.sulfite_salts import SulfiteSalt

SALT = SulfiteSalt("salt", 0.576, "a titration of this lot of salt")
LEARNED = Binding(0.4, "learned", spread=0.05, additions=3)
LOT = LotState(volume_l=4600.0, free_mg_per_l=12.0, total_mg_per_l=60.0, u_total_mg_per_l=3.0)


def dose(
    lot: LotState, asked: float, binding: Binding = LEARNED, limit: float = 200.0, step: float = 0.1
) -> AdditionPlan:
    return plan_for_dose(lot, asked, binding, SALT, total_limit_mg_per_l=limit, step_g=step)


def target(lot: LotState, wanted: float, binding: Binding = LEARNED) -> AdditionPlan:
    return plan_for_target(lot, wanted, binding, SALT, total_limit_mg_per_l=200.0, step_g=0.1)


def test_plan_for_dose__closed_form_worked_on_paper() -> None:
    # 50 mg/L in 4600 L with 57.6 % salt: 399.305 g, weighed as 399.3 g, which is 49.999 mg/L.
    found = dose(LOT, 50.0)
    assert (found.asked_mg_per_l, found.salt_g) == (50.0, 399.3)
    assert found.added_mg_per_l == pytest.approx(399.3 * 576 / 4600)
    assert found.free_mg_per_l == pytest.approx(12 + 0.6 * found.added_mg_per_l)
    assert found.total_mg_per_l == pytest.approx(60 + found.added_mg_per_l)
    assert (found.binding, found.salt) == (LEARNED, SALT)


def test_plan_for_dose__closed_form_bounds_follow_the_spread_of_the_binding() -> None:
    found = dose(LOT, 50.0)
    assert found.free_mg_per_l - found.free_low_mg_per_l == pytest.approx(0.1 * found.added_mg_per_l)
    assert found.free_high_mg_per_l - found.free_mg_per_l == pytest.approx(0.1 * found.added_mg_per_l)


def test_plan_for_dose__limit_nothing_asked_nothing_weighed() -> None:
    found = dose(LOT, 0.0)
    assert (found.salt_g, found.added_mg_per_l, found.free_mg_per_l, found.total_mg_per_l) == (
        0.0,
        0.0,
        12.0,
        60.0,
    )


@pytest.mark.parametrize(
    ("asked", "verdict", "released"),
    [
        (10.0, LimitVerdict.INSIDE, True),
        (18.0, LimitVerdict.CANNOT_TELL, False),
        (30.0, LimitVerdict.OUTSIDE, False),
    ],
)
def test_plan_for_dose__closed_form_the_legal_total_is_guarded(
    asked: float, verdict: LimitVerdict, *, released: bool
) -> None:
    close = LotState(2900.0, 26.0, 180.0, 3.0)
    found = dose(close, asked)
    assert found.legal.verdict is verdict
    assert found.may_be_released is released


def test_plan_for_dose__closed_form_a_volume_in_doubt_widens_the_guard_band() -> None:
    sure = dose(LotState(2900.0, 26.0, 150.0, 3.0), 40.0)
    doubt = dose(LotState(2900.0, 26.0, 150.0, 3.0, u_volume_share=0.1), 40.0)
    assert sure.legal.high_mg_per_l - sure.total_mg_per_l == pytest.approx(6.0)
    assert doubt.legal.high_mg_per_l - doubt.total_mg_per_l == pytest.approx(
        2 * math.hypot(3.0, 0.1 * doubt.added_mg_per_l)
    )


def test_plan_for_dose__limit_rounding_goes_down_where_up_would_pass_the_limit() -> None:
    lot = LotState(100.0, 20.0, 100.0, 0.0)
    # 8.6 g exact for 49.5 mg/L; a balance of whole 5 g would weigh 10 g, which is 57.6 mg/L.
    assert dose(lot, 49.5, limit=150.0, step=5.0).salt_g == 5.0
    assert dose(lot, 49.5, limit=160.0, step=5.0).salt_g == 10.0


def test_plan_for_dose__limit_a_total_exactly_at_the_limit_may_be_reached() -> None:
    # 4.95 g exact, 5 g on a balance of whole grams, which is 50 mg/L and a total of 150.
    found = dose(LotState(57.6, 20.0, 100.0, 0.0), 49.5, limit=150.0, step=1.0)
    assert (found.salt_g, found.total_mg_per_l) == (5.0, 150.0)
    assert found.legal.verdict is LimitVerdict.INSIDE


@given(st.floats(100, 10_000), st.floats(1, 40), st.floats(0, 100), st.floats(0, 100))
def test_plan_for_dose__law_total_rises_by_all_of_it_and_free_by_no_more(
    volume: float, free: float, bound: float, asked: float
) -> None:
    found = dose(LotState(volume, free, free + bound, 1.0), asked, limit=500.0)
    rise = found.total_mg_per_l - (free + bound)
    assert rise == pytest.approx(found.added_mg_per_l, abs=1e-9)
    assert found.free_mg_per_l - free <= rise + 1e-9
    assert found.free_low_mg_per_l <= found.free_mg_per_l + 1e-9
    assert abs(found.added_mg_per_l - asked) <= 0.06 * 576 / volume


def test_plan_for_dose__independent_simulation_of_the_legal_total() -> None:
    lot = LOT._replace(u_volume_share=0.03)
    found = dose(lot, 50.0)
    rng = np.random.default_rng(3)
    added_g = found.salt_g * 0.576 * 1000
    totals = rng.normal(60.0, 3.0, 100_000) + added_g / (4600.0 * (1 + rng.normal(0, 0.03, 100_000)))
    assert (found.legal.high_mg_per_l - found.total_mg_per_l) / 2 == pytest.approx(
        float(np.std(totals)), rel=0.02
    )


def test_plan_for_dose__refuses_a_lot_without_free_so2() -> None:
    with pytest.raises(NotPredictableError, match="wait a day"):
        dose(LOT._replace(free_mg_per_l=0.0), 30.0)


def test_plan_for_dose__refuses_free_above_total() -> None:
    with pytest.raises(ContradictionError, match="measure both again"):
        dose(LOT._replace(free_mg_per_l=61.0), 30.0)


@pytest.mark.parametrize(
    "bad",
    [
        LOT._replace(volume_l=0.0),
        LOT._replace(total_mg_per_l=math.nan),
        LOT._replace(free_mg_per_l=math.nan),
        LOT._replace(u_total_mg_per_l=-1.0),
        LOT._replace(u_volume_share=1.001),
        LOT._replace(u_volume_share=-0.1),
    ],
)
def test_plan_for_dose__refuses_bad_inputs(bad: LotState) -> None:
    with pytest.raises(OutOfRangeError):
        dose(bad, 30.0)


def test_plan_for_target__closed_form_worked_on_paper() -> None:
    # From 12 to 30 with one third binding: 27 mg/L, 215.625 g, weighed as 215.6 g.
    found = target(LOT, 30.0, ONE_THIRD)
    assert found.asked_mg_per_l == pytest.approx(27.0)
    assert found.salt_g == 215.6
    assert found.free_mg_per_l == pytest.approx(30.0, abs=0.01)


def test_plan_for_target__limit_a_target_that_is_met_needs_nothing() -> None:
    assert target(LOT, 12.0).salt_g == 0.0


@given(st.floats(1, 60), st.floats(0, 40), st.floats(0, 0.9))
def test_plan_for_target__law_the_expected_free_is_the_target_within_a_step(
    free: float, rise: float, share: float
) -> None:
    lot, binding = LotState(1000.0, free, free, 1.0), Binding(share, "given")
    found = plan_for_target(lot, free + rise, binding, SALT, total_limit_mg_per_l=2000.0, step_g=0.1)
    assert found.free_mg_per_l == pytest.approx(free + rise, abs=0.03)


def test_plan_for_target__independent_the_same_as_its_dose() -> None:
    by_target = target(LOT, 30.0)
    by_dose = dose(LOT, (30.0 - 12.0) / 0.6)
    assert by_target.salt_g == by_dose.salt_g
    assert by_target.total_mg_per_l == pytest.approx(by_dose.total_mg_per_l)
    assert by_target.legal.high_mg_per_l == pytest.approx(by_dose.legal.high_mg_per_l)


def test_plan_for_target__closed_form_the_guard_band_is_passed_on() -> None:
    narrow = plan_for_target(LOT, 30.0, LEARNED, SALT, total_limit_mg_per_l=200.0, step_g=0.1, coverage=1.0)
    assert narrow.legal.high_mg_per_l - narrow.total_mg_per_l == pytest.approx(3.0)


def test_plan_for_target__refuses_a_lot_without_free_so2() -> None:
    with pytest.raises(NotPredictableError):
        target(LOT._replace(free_mg_per_l=0.0), 30.0)


@pytest.mark.parametrize("bad", [-1.0, 501.0, math.nan, math.inf])
def test_plan_for_target__refuses_a_bad_target(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        target(LOT, bad)

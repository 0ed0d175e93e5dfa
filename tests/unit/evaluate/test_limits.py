import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from evaluate.errors import NotPredictableError, OutOfRangeError, UnknownNameError
from evaluate.limits import (
    LimitKind,
    LimitVerdict,
    SugarComparison,
    SulfurDioxideLimit,
    judge_against_limit,
    limits_in_force,
    required_limit,
    shifted_limit,
    sugar_fits,
)

NOT_FINITE = (math.nan, math.inf, -math.inf)
WHITE = SulfurDioxideLimit(
    jurisdiction="Here",
    wine_class="white, dry",
    kind=LimitKind.TOTAL,
    limit_mg_per_l=200.0,
    shift_mg_per_l=None,
    unit="mg/L total",
    sugar_test="glucose and fructose",
    sugar_comparison=SugarComparison.BELOW,
    sugar_g_per_l=5.0,
    valid_from=date(2020, 1, 1),
    source="a regulation",
    status="seen",
)
UNDATED = WHITE._replace(wine_class="red", valid_from=None, status="memory")
FREE = WHITE._replace(kind=LimitKind.FREE, limit_mg_per_l=70.0)
ELSEWHERE = WHITE._replace(jurisdiction="There")
SHIFT = WHITE._replace(limit_mg_per_l=None, shift_mg_per_l=-30.0)
UNKNOWN = WHITE._replace(limit_mg_per_l=None, status="unverified")
TABLE = (WHITE, UNDATED, FREE, ELSEWHERE)


def test_limits_in_force__closed_form_by_place_kind_and_day() -> None:
    assert limits_in_force(TABLE, "Here", LimitKind.TOTAL, date(2021, 1, 1)) == (WHITE, UNDATED)
    assert limits_in_force(TABLE, "Here", LimitKind.FREE, date(2021, 1, 1)) == (FREE,)


def test_limits_in_force__limit_from_its_first_day_on() -> None:
    assert WHITE in limits_in_force(TABLE, "Here", LimitKind.TOTAL, date(2020, 1, 1))
    assert WHITE not in limits_in_force(TABLE, "Here", LimitKind.TOTAL, date(2019, 12, 31))


@given(st.dates())
def test_limits_in_force__law_an_unknown_day_is_never_left_out(day: date) -> None:
    assert UNDATED in limits_in_force(TABLE, "Here", LimitKind.TOTAL, day)


def test_limits_in_force__independent_every_row_is_found_in_exactly_one_place_and_kind() -> None:
    places, kinds = {row.jurisdiction for row in TABLE}, list(LimitKind)
    found = [row for p in places for k in kinds for row in limits_in_force(TABLE, p, k, date(2030, 1, 1))]
    assert len(found) == len(TABLE)


def test_limits_in_force__refuses_a_place_the_table_does_not_know() -> None:
    with pytest.raises(UnknownNameError, match="no place 'Nowhere'; it has: Here, There"):
        limits_in_force(TABLE, "Nowhere", LimitKind.TOTAL, date(2021, 1, 1))


def test_limits_in_force__limit_a_known_place_may_have_none_of_a_kind() -> None:
    assert limits_in_force(TABLE, "There", LimitKind.LABEL, date(2021, 1, 1)) == ()


@pytest.mark.parametrize(
    ("row", "known"), [(WHITE, True), (UNDATED, False), (SHIFT, False), (UNKNOWN, False)]
)
def test_a_limit_is_known_when_its_figure_was_read(row: SulfurDioxideLimit, *, known: bool) -> None:
    assert row.known is known


@pytest.mark.parametrize(
    ("comparison", "below", "at", "above"),
    [
        (SugarComparison.BELOW, True, False, False),
        (SugarComparison.UP_TO, True, True, False),
        (SugarComparison.ABOVE, False, False, True),
        (SugarComparison.FROM, False, True, True),
    ],
)
def test_sugar_fits__closed_form_four_ways_to_stand_to_a_threshold(
    comparison: SugarComparison, *, below: bool, at: bool, above: bool
) -> None:
    row = WHITE._replace(sugar_comparison=comparison)
    assert [sugar_fits(row, sugar) for sugar in (4.9, 5.0, 5.1)] == [below, at, above]


def test_sugar_fits__limit_a_class_without_a_test_takes_every_wine() -> None:
    assert sugar_fits(WHITE._replace(sugar_comparison=None, sugar_g_per_l=None), 120.0)


@given(st.floats(0, 200), st.floats(0, 100))
def test_sugar_fits__law_a_wine_is_either_dry_or_sweet(sugar: float, threshold: float) -> None:
    dry = WHITE._replace(sugar_g_per_l=threshold)
    sweet = dry._replace(sugar_comparison=SugarComparison.FROM)
    assert sugar_fits(dry, sugar) is not sugar_fits(sweet, sugar)


def test_sugar_fits__independent_of_the_unit_of_both() -> None:
    assert sugar_fits(WHITE._replace(sugar_g_per_l=0.5), 0.49) is sugar_fits(WHITE, 4.9)


@given(st.floats(0.0, 300.0), st.floats(0.0, 300.0))
def test_a_sugar_value_stands_in_one_of_two_opposite_ways(sugar: float, threshold: float) -> None:
    for one, opposite in (
        (SugarComparison.BELOW, SugarComparison.FROM),
        (SugarComparison.UP_TO, SugarComparison.ABOVE),
    ):
        assert one.holds(sugar, threshold) is not opposite.holds(sugar, threshold)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_sugar_fits__refuses_what_is_no_sugar_value(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="glucose and fructose"):
        sugar_fits(WHITE, bad)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (194.0, LimitVerdict.INSIDE),
        (194.1, LimitVerdict.CANNOT_TELL),
        (206.0, LimitVerdict.CANNOT_TELL),
        (206.1, LimitVerdict.OUTSIDE),
    ],
)
def test_judge_against_limit__closed_form_guarded_on_both_sides(value: float, verdict: LimitVerdict) -> None:
    found = judge_against_limit(value, 3.0, 200.0)
    assert found.verdict is verdict
    assert (found.low_mg_per_l, found.high_mg_per_l) == pytest.approx((value - 6, value + 6))


def test_judge_against_limit__closed_form_the_sentence_says_what_to_do() -> None:
    assert judge_against_limit(197.0, 3.0, 200.0).statement == (
        "197 ± 6 mg/L against a limit of 200 mg/L: cannot tell; use the reference method, or lower the dose"
    )
    assert judge_against_limit(150.0, 3.0, 200.0).statement.endswith("limit of 200 mg/L: inside")


def test_judge_against_limit__limit_without_uncertainty_the_limit_itself_is_inside() -> None:
    assert judge_against_limit(200.0, 0.0, 200.0).verdict is LimitVerdict.INSIDE
    assert judge_against_limit(200.001, 0.0, 200.0).verdict is LimitVerdict.OUTSIDE


def test_judge_against_limit__limit_the_lower_bound_never_falls_below_zero() -> None:
    assert judge_against_limit(3.0, 5.0, 200.0).low_mg_per_l == 0.0


@given(st.floats(0, 500), st.floats(0, 20), st.floats(10, 400))
def test_judge_against_limit__law_more_uncertainty_never_decides_what_was_open(
    value: float, u: float, limit: float
) -> None:
    narrow = judge_against_limit(value, u, limit).verdict
    wide = judge_against_limit(value, u + 1, limit).verdict
    assert wide in {narrow, LimitVerdict.CANNOT_TELL}


def test_judge_against_limit__independent_chance_of_being_over_the_limit() -> None:
    # At the edge of acceptance the chance of a true value above the limit is the tail beyond the coverage.
    limit, u, coverage = 200.0, 3.0, 1.645
    edge = limit - coverage * u
    assert judge_against_limit(edge - 0.01, u, limit, coverage=coverage).verdict is LimitVerdict.INSIDE
    assert judge_against_limit(edge + 0.01, u, limit, coverage=coverage).verdict is LimitVerdict.CANNOT_TELL
    assert norm.sf(limit, loc=edge, scale=u) == pytest.approx(0.05, abs=1e-4)


@pytest.mark.parametrize("bad", [-1.0, *NOT_FINITE])
def test_judge_against_limit__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        judge_against_limit(bad, 3.0, 200.0)
    with pytest.raises(OutOfRangeError):
        judge_against_limit(190.0, bad, 200.0)
    with pytest.raises(OutOfRangeError):
        judge_against_limit(190.0, 3.0, bad)
    with pytest.raises(OutOfRangeError):
        judge_against_limit(190.0, 3.0, 200.0, coverage=bad)


def test_shifted_limit__closed_form_up_and_down() -> None:
    assert shifted_limit(200.0, 50.0) == 250.0
    assert shifted_limit(200.0, -30.0) == 170.0


def test_shifted_limit__limit_no_shift() -> None:
    assert shifted_limit(200.0, 0.0) == 200.0


@given(st.floats(100, 400), st.floats(-50, 50))
def test_shifted_limit__law_shifting_back_gives_the_limit(limit: float, shift: float) -> None:
    assert shifted_limit(shifted_limit(limit, shift), -shift) == pytest.approx(limit)


def test_shifted_limit__independent_second_hand_table() -> None:
    # A survey of 2015 prints 170 for organic white with sugar where the ordinary limit is 200.
    assert shifted_limit(200.0, -30.0) == pytest.approx(170.0)


@pytest.mark.parametrize(("limit", "shift"), [(0, 10), (30, -30), (200, math.nan), (math.inf, 1)])
def test_shifted_limit__refuses_bad_inputs(limit: float, shift: float) -> None:
    with pytest.raises(OutOfRangeError):
        shifted_limit(limit, shift)


def test_required_limit__closed_form_the_figure_of_the_row() -> None:
    assert required_limit(WHITE) == 200.0


def test_required_limit__limit_a_figure_from_memory_is_still_a_figure() -> None:
    assert required_limit(UNDATED) == 200.0


@given(st.floats(1, 500))
def test_required_limit__law_it_is_what_the_table_says(limit: float) -> None:
    assert required_limit(WHITE._replace(limit_mg_per_l=limit)) == limit


def test_required_limit__independent_rows_with_and_without_a_figure() -> None:
    assert [row.limit_mg_per_l is None for row in (WHITE, SHIFT, UNKNOWN)] == [False, True, True]


def test_required_limit__refuses_a_row_without_a_figure_and_says_why() -> None:
    with pytest.raises(NotPredictableError, match="it shifts another limit; read a regulation"):
        required_limit(SHIFT)
    with pytest.raises(NotPredictableError, match="no figure was found"):
        required_limit(UNKNOWN)

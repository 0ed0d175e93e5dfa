import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from evaluate.barrel_group import GroupValue, judge_group
from evaluate.errors import ContradictionError, OutOfRangeError, TooFewPointsError
from evaluate.statistics import NORMAL_MAD

BARRELS = [f"B{number}" for number in range(101, 111)]
TRUE = [23.1, 21.4, 24.0, 22.6, 20.9, 22.2, 9.3, 23.5, 21.8, 22.9]
ROUND = [GroupValue(barrel, value) for barrel, value in zip(BARRELS, TRUE, strict=True)]
values = st.lists(st.floats(0.0, 100.0), min_size=5, max_size=10)


def names(found: tuple[GroupValue, ...]) -> list[str]:
    return [one.barrel for one in found]


def test_judge_group__closed_form_one_sick_barrel_stands_apart() -> None:
    found = judge_group(BARRELS, ROUND, 1.0)
    assert names(found.apart) == ["B107"]
    assert found.middle == pytest.approx(22.4)
    assert found.spread == pytest.approx(NORMAL_MAD * 0.85)
    assert found.is_complete


def test_judge_group__closed_form_a_barrel_scanned_twice_and_its_neighbour_missed() -> None:
    scanned = [one._replace(barrel="B104") if one.barrel == "B105" else one for one in ROUND]
    found = judge_group(BARRELS, [*scanned, GroupValue("B999", 22.0)], 1.0)
    assert (found.missing, found.repeated, found.strangers) == (("B105",), ("B104",), ("B999",))
    assert not found.is_complete


@pytest.mark.parametrize("lack", ["missing", "repeated", "strangers"])
def test_a_round_is_complete_only_if_nothing_lacks(lack: str) -> None:
    report = judge_group(BARRELS, ROUND, 1.0)
    assert not report._replace(**{lack: ("B105",)}).is_complete  # type: ignore[arg-type]


def test_judge_group__limit_equal_barrels_are_measured_by_the_least_spread() -> None:
    level = [GroupValue(barrel, 20.0) for barrel in BARRELS[:9]]
    at_the_end = judge_group(BARRELS, [*level, GroupValue("B110", 23.5)], 1.0)
    assert (at_the_end.spread, at_the_end.apart) == (1.0, ())
    beyond = judge_group(BARRELS, [*level, GroupValue("B110", 23.501)], 1.0)
    assert names(beyond.apart) == ["B110"]


def test_judge_group__limit_fewer_than_five_values_leave_nobody_apart() -> None:
    four = [*ROUND[:3], GroupValue("B107", 9.3)]
    assert judge_group(BARRELS, four, 1.0).apart == ()
    assert names(judge_group(BARRELS, [*four, ROUND[4]], 1.0).apart) == ["B107"]


@given(values, st.randoms(use_true_random=False))
def test_judge_group__law_the_order_does_not_matter(numbers: list[float], random: object) -> None:
    taken = [GroupValue(barrel, number) for barrel, number in zip(BARRELS, numbers, strict=False)]
    shuffled = list(taken)
    random.shuffle(shuffled)  # type: ignore[attr-defined]  # a seeded Random
    one, other = judge_group(BARRELS, taken, 0.5), judge_group(BARRELS, shuffled, 0.5)
    assert one._replace(apart=()) == other._replace(apart=())
    assert set(one.apart) == set(other.apart)


@given(values)
def test_judge_group__law_at_most_half_stands_apart(numbers: list[float]) -> None:
    taken = [GroupValue(barrel, number) for barrel, number in zip(BARRELS, numbers, strict=False)]
    assert len(judge_group(BARRELS, taken, 0.01).apart) <= len(numbers) / 2


@given(values)
def test_judge_group__independent_scipy_median_deviation(numbers: list[float]) -> None:
    taken = [GroupValue(barrel, number) for barrel, number in zip(BARRELS, numbers, strict=False)]
    found = judge_group(BARRELS, taken, 1e-9)
    assert found.middle == pytest.approx(float(np.median(numbers)))
    expected = float(scipy.stats.median_abs_deviation(numbers, scale="normal"))
    assert found.spread == pytest.approx(max(expected, 1e-9), rel=1e-9, abs=1e-12)


def test_the_scale_is_one_over_the_upper_quartile_of_the_normal_law() -> None:
    assert pytest.approx(1 / scipy.stats.norm.ppf(0.75), rel=1e-14) == NORMAL_MAD


def test_judge_group__refuses_a_group_that_names_a_barrel_twice() -> None:
    with pytest.raises(ContradictionError, match="names B101 more than once"):
        judge_group([*BARRELS, "B101"], ROUND, 1.0)


def test_judge_group__refuses_a_round_without_any_member() -> None:
    with pytest.raises(TooFewPointsError, match="values of the group"):
        judge_group(BARRELS, [GroupValue("B999", 20.0)], 1.0)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_judge_group__refuses_a_spread_or_value_that_is_none(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="least spread"):
        judge_group(BARRELS, ROUND, bad)
    if not math.isfinite(bad):
        with pytest.raises(OutOfRangeError, match="values of the group"):
            judge_group(BARRELS, [GroupValue("B101", bad)], 1.0)

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.control_charts import Limits
from evaluate.control_charts_limit_sets import Exclusion, LimitSet, limit_set_in_force
from evaluate.errors import ContradictionError, UnknownNameError

LIMITS = Limits(30.0, 0.8)


def a_set(version: int = 1, valid_from_us: int = 1000) -> LimitSet:
    return LimitSet(
        version=version,
        limits=LIMITS,
        centre_origin="assigned",
        s_origin="target",
        rule_set="nordtest",
        valid_from_us=valid_from_us,
        set_by="AB",
        reason="new control lot",
    )


def test_a_limit_set_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        a_set().version = 2  # type: ignore[misc]  # what the test is about


def test_a_new_version_follows_and_leaves_the_old_one_as_it_was() -> None:
    first = a_set()
    wider = Limits(30.0, 1.1)
    second = first.followed_by(limits=wider, valid_from_us=2000, set_by="CD", reason="yearly review")
    assert (second.version, second.limits, second.set_by) == (2, wider, "CD")
    assert (second.rule_set, second.reason) == ("nordtest", "yearly review")
    assert first == a_set()


@pytest.mark.parametrize("valid_from_us", [999, 1000])
def test_a_new_version_must_begin_later(valid_from_us: int) -> None:
    with pytest.raises(ContradictionError, match="version 2 must begin after version 1"):
        a_set().followed_by(limits=LIMITS, valid_from_us=valid_from_us, set_by="CD", reason="review")


def test_the_version_after_an_estimate_names_its_own_values() -> None:
    ids = tuple(f"c{n}" for n in range(10))
    estimated = dataclasses.replace(a_set(), limits=Limits(30.0, 0.8, 10), value_ids=ids)
    with pytest.raises(ContradictionError, match="10 values name 0"):
        estimated.followed_by(limits=Limits(30.0, 0.9, 10), valid_from_us=2000, set_by="CD", reason="review")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"version": 0}, "counts from 1"),
        ({"set_by": " "}, "who set it and why"),
        ({"reason": ""}, "who set it and why"),
        ({"exclusions": (Exclusion("c7", " "),)}, "needs a reason"),
        ({"limits": Limits(30.0, 0.8, 10), "value_ids": ("c1",) * 10}, "name 1 of them"),
    ],
)
def test_a_limit_set_that_could_not_be_explained_is_refused(change: dict[str, object], says: str) -> None:
    with pytest.raises(ContradictionError, match=says):
        dataclasses.replace(a_set(), **change)  # type: ignore[arg-type]  # one field at a time


def test_a_limit_set_with_unknown_rules_is_refused() -> None:
    with pytest.raises(UnknownNameError, match="unknown rule set 'house'; known sets: nordtest"):
        dataclasses.replace(a_set(), rule_set="house")


def test_an_exclusion_with_a_reason_is_kept() -> None:
    kept = dataclasses.replace(a_set(), exclusions=(Exclusion("c7", "bottle left open"),))
    assert kept.exclusions[0].reason == "bottle left open"


def test_limit_set_in_force__closed_form_the_latest_that_has_begun() -> None:
    sets = [a_set(2, 2000), a_set(1, 1000), a_set(3, 3000)]
    found = [limit_set_in_force(sets, at_us) for at_us in (1500, 2500, 9000)]
    assert [each.version for each in found if each] == [1, 2, 3]


def test_limit_set_in_force__limit_valid_from_its_first_moment_and_not_before() -> None:
    assert limit_set_in_force([a_set()], 1000) == a_set()
    assert limit_set_in_force([a_set()], 999) is None
    assert limit_set_in_force([], 1000) is None


@given(st.lists(st.integers(0, 50), min_size=1, max_size=8, unique=True), st.integers(-5, 60))
def test_limit_set_in_force__law_a_later_set_never_judges_an_earlier_value(
    starts: list[int], at_us: int
) -> None:
    sets = [a_set(version, start) for version, start in enumerate(sorted(starts), start=1)]
    now = limit_set_in_force(sets, at_us)
    later = a_set(len(sets) + 1, max(at_us, *starts) + 1)
    assert limit_set_in_force([*sets, later], at_us) == now


@pytest.mark.parametrize(
    "sets", [[a_set(1, 1000), a_set(2, 1000)], [a_set(1, 1000), a_set(1, 2000)], [a_set(2, 1), a_set(1, 2)]]
)
def test_limit_set_in_force__refuses_sets_that_contradict_each_other(sets: list[LimitSet]) -> None:
    with pytest.raises(ContradictionError, match="a later version must begin later"):
        limit_set_in_force(sets, 5000)


@given(st.lists(st.integers(0, 50), min_size=1, max_size=8, unique=True), st.integers(0, 60))
def test_limit_set_in_force__independent_count_of_the_begun(starts: list[int], at_us: int) -> None:
    sets = [a_set(version, start) for version, start in enumerate(sorted(starts), start=1)]
    begun = sum(start <= at_us for start in starts)
    found = limit_set_in_force(sets, at_us)
    assert (found.version if found else 0) == begun

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError, UnknownNameError
from evaluate.rule_sets import Judgement, RuleSet, Verdict, judge, rule, rule_set, rule_sets
from tundish.selftest.tables import rows

SEQUENCES = rows("qc/qc_rule_sequences.csv")
EXERCISE = rows("qc/westgard_one_control.csv")
scores = st.lists(st.integers(-36, 36).map(lambda tenths: tenths / 10), min_size=1, max_size=40)


def alone(rule_id: str) -> RuleSet:
    return RuleSet("alone", (rule(rule_id),))


def fired(z: object, rule_id: str) -> list[int]:
    """Return the positions, counted from 1, at which a rule is complete."""
    judged = judge(z, alone(rule_id))  # type: ignore[arg-type]  # lists of many shapes
    return [position for position, each in enumerate(judged, start=1) if each.hits]


def verdicts(z: object, name: str) -> list[Verdict]:
    return [each.verdict for each in judge(z, name)]  # type: ignore[arg-type]  # lists of many shapes


def names(judgement: Judgement) -> list[str]:
    return [hit.rule.id for hit in judgement.hits]


def sequence(row: dict[str, str]) -> list[list[float]]:
    return [[float(z) for z in run.split("/")] for run in row["sequence"].split(";")]


@pytest.mark.parametrize(
    "row", [row for row in SEQUENCES if row["case"] != "W08"], ids=lambda row: row["case"]
)
def test_judge__closed_form_of_the_constructed_sequences(row: dict[str, str]) -> None:
    expected = [int(row["first_flag"])] if row["first_flag"] else []
    assert fired(sequence(row), row["rule"])[:1] == expected


def test_judge__closed_form_of_both_forms_of_r_4s() -> None:
    """One inside 2 s: only the range form sees it. The other example is seen by both."""
    (by_range,) = (row for row in SEQUENCES if row["case"] == "W08")
    assert fired(sequence(by_range), "R-4s") == []
    assert fired(sequence(by_range), "R-4s-range") == [2]
    assert fired([[2.3, -2.2]], "R-4s") == fired([[2.3, -2.2]], "R-4s-range") == [1]


def test_judge__published_flags_of_an_interpretation_exercise() -> None:
    """Every published flag, and nothing else but warnings."""
    rules = RuleSet("exercise", tuple(map(rule, ("1-2s", "1-3s", "2-2s", "R-4s", "4-1s", "8x"))))
    judged = judge([float(row["z"]) for row in EXERCISE], rules)
    found = [(n, name) for n, each in enumerate(judged, 1) for name in names(each) if name != "1-2s"]
    published = [
        (int(row["completes_at"]), row["published_rule"]) for row in EXERCISE if row["published_rule"]
    ]
    assert found == published


@pytest.mark.parametrize("each", rule_sets(), ids=lambda each: each.name)
def test_judge__limit_values_on_the_centre_line_pass_every_set_but_nelson(each: RuleSet) -> None:
    expected = {"nelson": [Verdict.REVIEW] * 6}.get(each.name, [Verdict.PASS] * 6)  # N7: 15 within 1 s
    assert verdicts([0.0] * 20, each.name)[14:] == expected


def test_judge__limit_no_values_no_verdicts_and_a_missing_one_is_not_evaluated() -> None:
    assert judge([]) == ()
    assert verdicts([0.1, math.nan, 0.2], "nordtest") == [Verdict.PASS, Verdict.NOT_EVALUATED, Verdict.PASS]


@given(scores, st.sampled_from([each.name for each in rule_sets()]))
def test_judge__law_the_mirrored_series_has_the_same_verdicts(z: list[float], name: str) -> None:
    assert verdicts(z, name) == verdicts([-value for value in z], name)


@given(scores, scores, st.sampled_from([each.name for each in rule_sets()]))
def test_judge__law_later_values_do_not_change_earlier_verdicts(
    z: list[float], later: list[float], name: str
) -> None:
    assert verdicts(z + later, name)[: len(z)] == verdicts(z, name)


@given(scores, st.data())
def test_judge__law_missing_values_are_skipped(z: list[float], data: st.DataObject) -> None:
    gaps = data.draw(st.lists(st.integers(0, len(z)), max_size=5))
    with_gaps: list[float] = list(z)
    for gap in sorted(gaps, reverse=True):
        with_gaps.insert(gap, math.nan)
    for each in rule_sets():
        found = [v for v in verdicts(with_gaps, each.name) if v is not Verdict.NOT_EVALUATED]
        assert found == verdicts(z, each.name)


@pytest.mark.parametrize("bad", [[math.inf], [0.0, -math.inf], np.zeros((2, 2, 2)), 1.0])
def test_judge__refuses_infinite_scores_and_other_shapes(bad: object) -> None:
    with pytest.raises(OutOfRangeError):
        judge(bad)  # type: ignore[arg-type]  # what the test is about


def test_judge__refuses_an_unknown_set_and_names_those_known() -> None:
    with pytest.raises(UnknownNameError, match="unknown rule set 'house'; known sets: nordtest, shewhart3"):
        judge([0.0], "house")


def one_side(points: int) -> Callable[[list[float], int], bool]:
    def complete(z: list[float], i: int) -> bool:
        window = z[max(0, i - points + 1) : i + 1]
        return len(window) == points and (min(window) > 0 or max(window) < 0)

    return complete


def some_beyond(count: int, window: int, k: float) -> Callable[[list[float], int], bool]:
    def complete(z: list[float], i: int) -> bool:
        recent = z[max(0, i - window + 1) : i + 1]
        high, low = [v > k for v in recent], [v < -k for v in recent]
        return (high[-1] and sum(high) >= count) or (low[-1] and sum(low) >= count)

    return complete


def climbing(points: int) -> Callable[[list[float], int], bool]:
    def complete(z: list[float], i: int) -> bool:
        window = z[max(0, i - points + 1) : i + 1]
        steps = [b - a for a, b in pairwise(window)]
        return len(window) == points and (min(steps) > 0 or max(steps) < 0)

    return complete


def alternating(z: list[float], i: int) -> bool:
    window = z[max(0, i - 13) : i + 1]
    steps = [b - a for a, b in pairwise(window)]
    return len(window) == 14 and all(a * b < 0 for a, b in pairwise(steps))


def flat(z: list[float], i: int) -> bool:
    window = z[max(0, i - 14) : i + 1]
    return len(window) == 15 and max(map(abs, window)) <= 1


def mixed(z: list[float], i: int) -> bool:
    window = z[max(0, i - 7) : i + 1]
    return len(window) == 8 and min(map(abs, window)) > 1 and min(window) < 0 < max(window)


def two_of_three(z: list[float], i: int) -> bool:
    there = [2 < abs(v) <= 3 for v in z[max(0, i - 2) : i + 1]]
    return there[-1] and sum(there) > 1


def two_running(z: list[float], i: int) -> bool:
    return i > 0 and all(2 < abs(v) <= 3 for v in z[i - 1 : i + 1])


BY_HAND: dict[str, Callable[[list[float], int], bool]] = {
    **dict.fromkeys(("3s", "WE1", "N1", "ISO1", "IUPAC-a", "NT-action", "1-3s"), some_beyond(1, 1, 3)),
    **dict.fromkeys(("WE2", "N5"), some_beyond(2, 3, 2)),
    **dict.fromkeys(("WE3", "N6"), some_beyond(4, 5, 1)),
    **dict.fromkeys(("N2", "IUPAC-c"), one_side(9)),
    "WE4": one_side(8),
    "8x": one_side(8),
    "ISO2": one_side(7),
    "10x": one_side(10),
    "12x": one_side(12),
    "N3": climbing(6),
    "ISO3": climbing(7),
    "NT-trend7": climbing(7),
    "N4": alternating,
    "N7": flat,
    "N8": mixed,
    "IUPAC-b": two_running,
    "NT-2of3": two_of_three,
    "1-2s": some_beyond(1, 1, 2),
    "2-2s": some_beyond(2, 2, 2),
    "4-1s": some_beyond(4, 4, 1),
    "NT-10of11": some_beyond(10, 11, 0),
    "NT-warn": lambda z, i: 2 < abs(z[i]) <= 3 and not two_of_three(z, i),
}


def close_to_the_limits() -> list[float]:
    """Return rows just inside, on and just outside of every limit, on one side and on both."""
    rows_ = [[side * limit * by] * 16 for side in (1, -1) for limit in (1, 2, 3) for by in (0.995, 1, 1.005)]
    both = [[limit * by * (-1) ** n for n in range(16)] for limit in (1, 2, 3) for by in (0.995, 1, 1.005)]
    singles = [
        [side * limit * by, 0.0, 0.0, 0.0] for side in (1, -1) for limit in (2, 3) for by in (0.995, 1, 1.005)
    ]
    return [z for row in [*rows_, *both, *singles] for z in [*row, 0.0]]


@pytest.mark.parametrize("rule_id", BY_HAND)
def test_judge__independent_walk_close_to_every_limit(rule_id: str) -> None:
    z = close_to_the_limits()
    assert fired(z, rule_id) == [i + 1 for i in range(len(z)) if BY_HAND[rule_id](z, i)]


@pytest.mark.parametrize("rule_id", BY_HAND)
@pytest.mark.parametrize("drift", [0.0, 0.08, 0.9])
def test_judge__independent_walk_over_each_window(rule_id: str, drift: float) -> None:
    """On noise, on noise that drifts, and on a steady saw-tooth that drifts."""
    rng = np.random.default_rng(11)
    noise = np.round(rng.normal(0, 1.0, 300) + drift * rng.choice([-1, 1], 300).cumsum(), 1)
    z = [*noise.tolist(), *[n * drift / 9 - 3 for n in range(60)], *[1.5 * (-1) ** n for n in range(20)]]
    expected = [i + 1 for i in range(len(z)) if BY_HAND[rule_id](z, i)]
    assert fired(z, rule_id) == expected


def test_every_rule_of_every_set_is_walked_by_hand_but_those_within_a_run() -> None:
    known = {each.id for rules in rule_sets() for each in rules.rules}
    assert known - set(BY_HAND) == {"R-4s", "R-4s-range"}


def test_nordtest_fails_warns_and_asks_for_review_as_it_says() -> None:
    assert verdicts([3.1, 0.1, 2.5, 0.3, -2.5], "nordtest") == ["fail", "pass", "warn", "pass", "fail"]
    climb = verdicts([-0.9, -0.5, -0.2, 0.1, 0.4, 0.9, 1.3], "nordtest")
    assert climb == ["pass"] * 6 + ["review"]


def test_the_gravest_verdict_counts_and_every_rule_is_named() -> None:
    last = judge([2.4, 2.6, 3.2], "westgard")[-1]
    assert last.verdict is Verdict.FAIL
    assert names(last) == ["1-2s", "1-3s", "2-2s"]
    assert last.rule_set == "westgard"


def test_a_hit_shows_the_values_it_looked_at_and_likely_causes() -> None:
    (hit,) = judge([0.1, 2.1, math.nan, 0.5, 2.3], alone("WE2"))[-1].hits
    assert (hit.position, hit.level, hit.looked_at) == (4, 0, (1, 3, 4))
    assert "titrant" in hit.rule.causes
    assert hit.rule.definition == "2 of 3 consecutive values beyond 2 s on the same side"


@pytest.mark.parametrize(
    ("rule_id", "definition"),
    [
        ("N2", "9 consecutive values on one side of the centre line"),
        ("NT-10of11", "10 of 11 consecutive values on one side of the centre line"),
        ("1-3s", "one value beyond 3 s"),
        (
            "2-2s",
            "2 consecutive controls beyond the same 2 s limit, within one run, or one level over two runs",
        ),
        ("10x", "10 consecutive controls on one side of the mean, within a level or across levels"),
        ("ISO3", "7 consecutive values steadily rising or steadily falling"),
    ],
)
def test_a_rule_says_in_words_what_it_looks_for(rule_id: str, definition: str) -> None:
    assert rule(rule_id).definition == definition


def test_levels_of_a_run_are_compared_only_by_the_rules_that_say_so() -> None:
    """Two levels just beyond 2 s in one run: 2-2s by Westgard, nothing but warnings by Nordtest."""
    assert fired([[2.1, 2.4]], "2-2s") == fired([[-2.1, -2.4]], "2-2s") == [1]
    assert fired([[2.1, -2.4]], "2-2s") == []
    assert verdicts([[2.1, 2.4]], "nordtest") == [Verdict.WARN]


def test_a_rule_across_levels_says_so_and_names_the_runs() -> None:
    hits = judge([[1.2, 1.1], [1.4, 1.3]], alone("4-1s"))[-1].hits
    assert [(hit.level, hit.looked_at) for hit in hits] == [(None, (0, 1))]


def test_a_missing_level_does_not_stop_the_other() -> None:
    assert fired([[2.2, math.nan], [2.5, 0.1]], "2-2s") == [2]
    assert fired([[2.2, math.nan]], "R-4s-range") == []
    assert verdicts([[math.nan, math.nan], [0.1, math.nan]], "westgard") == ["not_evaluated", "pass"]


@pytest.mark.parametrize(
    ("run", "sides", "range_"),
    [
        ((2.0, -2.1), 0, 1),
        ((2.1, -1.9), 0, 0),
        ((4.5, 0.4), 0, 1),
        ((2.01, -2.01), 1, 1),
        ((4.02, 0.0), 0, 1),
    ],
)
def test_within_a_run_limits_are_strict(run: tuple[float, float], sides: int, range_: int) -> None:
    assert len(fired([run], "R-4s")) == sides
    assert len(fired([run], "R-4s-range")) == range_


def test_three_levels_of_one_run_need_any_two_on_the_same_side() -> None:
    assert fired([[2.1, 0.0, 2.2]], "2-2s") == [1]
    assert fired([[-2.1, 0.0, -2.0]], "2-2s") == []


def test_ten_values_on_one_side_are_enough_for_ten_of_eleven() -> None:
    assert fired([0.1] * 10, "NT-10of11") == [10]
    assert fired([0.1] * 10 + [-0.1], "NT-10of11") == [10]


def test_look_ups_know_their_names_and_refuse_others() -> None:
    assert [each.name for each in rule_sets()][:3] == ["nordtest", "shewhart3", "westgard"]
    assert rule_set("iupac").rules[0] is rule("IUPAC-a")
    assert {"westgard_range", "western_electric", "nelson"} <= {each.name for each in rule_sets()}
    with pytest.raises(UnknownNameError, match="unknown control rule 'Q9'; known rules: 3s, WE1"):
        rule("Q9")


def test_every_set_names_its_source_and_every_rule_its_definition() -> None:
    for each in rule_sets():
        assert each.source.endswith(("Published.", "Recalled."))
        assert all(one.definition and one.causes and one.span >= 1 for one in each.rules)


def test_a_rule_that_compares_the_controls_of_a_run_looks_at_the_present_run_alone() -> None:
    assert [rule(rule_id).span for rule_id in ("R-4s", "R-4s-range")] == [1, 1]

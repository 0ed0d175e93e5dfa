import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError
from evaluate.holds import IN_CONTROL, Bracket, Check, CheckState, Scope, brackets, check_state
from evaluate.rule_sets import Verdict

WORDS = {
    "p": Verdict.PASS,
    "w": Verdict.WARN,
    "r": Verdict.REVIEW,
    "f": Verdict.FAIL,
    "n": Verdict.NOT_EVALUATED,
}
days = st.text("pwrfn", max_size=12)


def checks(word: str) -> list[Check]:
    """One check every ten microseconds: p pass, w warn, r review, f fail, n not evaluated."""
    return [Check(10 * place, WORDS[letter]) for place, letter in enumerate(word)]


def ends(word: str) -> list[tuple[int | None, int | None]]:
    return [(each.after_us, each.before_us) for each in brackets(checks(word))]


def test_brackets__closed_form_from_the_last_pass_to_the_next() -> None:
    assert ends("pfp") == [(0, 20)]
    assert ends("ppffpp") == [(10, 40)]
    assert ends("pfpfp") == [(0, 20), (20, 40)]


def test_brackets__limit_without_a_pass_before_or_after_it_has_no_end() -> None:
    assert ends("fp") == [(None, 10)]
    assert ends("pf") == [(0, None)]
    assert ends("f") == [(None, None)]
    assert ends("") == ends("pp") == ends("n") == []


def test_a_check_that_was_not_evaluated_never_counts_as_a_pass() -> None:
    assert ends("pnfnp") == [(0, 40)]


def test_a_warning_ends_a_doubt_only_where_that_is_asked_for() -> None:
    assert ends("pwfrp") == [(0, 40)]
    (asked,) = brackets(checks("pwfrp"), clears=IN_CONTROL)
    assert (asked.after_us, asked.before_us) == (10, 30)


def test_a_failure_outweighs_a_pass_of_the_same_moment() -> None:
    found = brackets([*checks("ppp"), Check(10, Verdict.FAIL)])
    assert found == (Bracket(0, 20, (10,)),)


@given(days, st.randoms(use_true_random=False))
def test_brackets__law_the_order_of_the_records_does_not_matter(word: str, random: object) -> None:
    shuffled = checks(word)
    random.shuffle(shuffled)  # type: ignore[attr-defined]  # a seeded Random
    assert brackets(shuffled) == brackets(checks(word))


@given(days)
def test_brackets__law_a_later_pass_closes_to_the_front_and_clears_nothing_behind(word: str) -> None:
    before, after = brackets(checks(word)), brackets(checks(word + "p"))
    held = [[each.holds(at) for at in range(-5, 10 * len(word))] for each in before]
    assert held == [[each.holds(at) for at in range(-5, 10 * len(word))] for each in after]
    assert not any(each.is_open for each in after)


@given(days)
def test_brackets__independent_scan_of_each_moment(word: str) -> None:
    """A moment is in doubt if, of the stretch between the passes around it, any check failed."""
    found = brackets(checks(word))
    for at_us in range(-5, 10 * len(word), 5):
        before = word[: max(0, -(-at_us // 10))]
        at_or_after = word[max(0, -(-at_us // 10)) :]
        stretch = before.rsplit("p", 1)[-1] + at_or_after.split("p", 1)[0]
        on_a_pass = at_us >= 0 and at_us % 10 == 0 and word[at_us // 10] == "p"
        assert any(each.holds(at_us) for each in found) == ("f" in stretch and not on_a_pass)


@pytest.mark.parametrize("clears", [(), {Verdict.FAIL}, {Verdict.PASS, Verdict.NOT_EVALUATED}])
def test_brackets__refuses_to_let_a_failed_or_missing_check_clear(clears: set[Verdict]) -> None:
    with pytest.raises(ContradictionError, match="cannot clear"):
        brackets([], clears=clears)


def test_both_ends_of_a_bracket_lie_outside_it() -> None:
    bracket = Bracket(10, 30, (20,))
    assert [at for at in range(8, 33) if bracket.holds(at)] == list(range(11, 30))
    assert Bracket(None, None, (20,)).holds(-(10**18))
    assert Bracket(10, None, (20,)).is_open


def test_a_found_cause_narrows_the_bracket() -> None:
    bracket = Bracket(10, None, (20,))
    assert bracket.narrowed(after_us=15, before_us=25) == Bracket(15, 25, (20,))
    assert bracket.narrowed(after_us=10) == bracket
    assert Bracket(10, 30, (20,)).narrowed(before_us=30) == Bracket(10, 30, (20,))


@pytest.mark.parametrize(("after", "before"), [(9, None), (None, 31), (20, 20), (25, 20)])
def test_a_bracket_cannot_be_widened_or_emptied(after: int | None, before: int | None) -> None:
    with pytest.raises(ContradictionError):
        Bracket(10, 30, (20,)).narrowed(after_us=after, before_us=before)


@pytest.mark.parametrize(
    ("check", "covered"),
    [
        (Scope("free", "burette"), True),
        (Scope("free", "burette", "I-07"), True),
        (Scope("free", "burette", "I-08"), False),
        (Scope("total", "burette"), False),
        (Scope("free", "other"), False),
    ],
)
def test_a_check_speaks_for_its_method_instrument_and_titrant(check: Scope, covered: bool) -> None:
    assert check.covers(Scope("free", "burette", "I-07")) is covered


def state(at_us: int, word: str) -> str:
    return check_state(at_us, checks(word)).name


def test_check_state__closed_form_by_what_passed_before_and_after() -> None:
    assert state(5, "") == state(5, "n") == state(-5, "pp") == "UNCHECKED"
    assert state(5, "p") == state(15, "pnn") == "COVERED"
    assert state(5, "pp") == state(5, "pnp") == "CONFIRMED"
    assert state(5, "pf") == state(5, "pfp") == state(15, "pfpp") == "IN_DOUBT"
    assert state(25, "pfpp") == "CONFIRMED"
    assert state(35, "pfpp") == "COVERED"


def test_check_state__limit_a_check_of_the_same_moment_counts_as_before() -> None:
    assert state(0, "p") == "COVERED"
    assert state(20, "pfp") == "COVERED"
    assert state(0, "pf") == "COVERED"
    assert state(10, "pf") == "IN_DOUBT"


def test_check_state__limit_a_result_at_the_last_pass_before_a_failure_is_only_covered() -> None:
    assert state(0, "pf") == "COVERED"
    assert state(0, "pfp") == "CONFIRMED"


@given(days, st.integers(-5, 130))
def test_check_state__law_a_later_pass_releases_nothing_that_was_in_doubt(word: str, at_us: int) -> None:
    if state(at_us, word) == "IN_DOUBT":
        later = [*checks(word), Check(10_000, Verdict.PASS)]
        assert check_state(at_us, later) is CheckState.IN_DOUBT


@given(days, st.integers(-5, 130))
def test_check_state__independent_the_nearest_verdicts_on_either_side(word: str, at_us: int) -> None:
    told = [(10 * place, letter) for place, letter in enumerate(word) if letter in "pf"]
    before = [letter for moment, letter in told if moment <= at_us]
    after = [letter for moment, letter in told if moment > at_us]
    failed_here = (at_us, "f") in told
    if failed_here or before[-1:] == ["f"] or (after[:1] == ["f"] and (at_us, "p") not in told):
        expected = "IN_DOUBT"
    else:
        expected = ("CONFIRMED" if "p" in after else "COVERED") if before else "UNCHECKED"
    assert state(at_us, word) == expected


def test_check_state__refuses_a_failure_that_should_clear() -> None:
    with pytest.raises(ContradictionError, match="cannot clear"):
        check_state(5, checks("p"), clears=[Verdict.FAIL])

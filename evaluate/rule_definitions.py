"""The rules of control charts as data: what they look for, what they ask for, where they come from.

The published sets differ in the length of their runs (7, 8, 9, 10, or 10 of 11 on one side), so every verdict
names its set.
"""

from enum import StrEnum
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from evaluate.errors import UnknownNameError
from evaluate.rule_patterns import (
    all_within,
    alternating,
    beyond,
    monotone,
    none_within,
    only_between,
    some_between,
    some_of,
)

if TYPE_CHECKING:
    from evaluate.rule_patterns import Pattern


class Verdict(StrEnum):
    """What the rules say of one control value, or of the controls of one run."""

    NOT_EVALUATED = "not_evaluated"
    """No value, no limit set, or too few values for one; never counts as a pass."""
    PASS = "pass"  # noqa: S105 - a verdict, not a password
    WARN = "warn"
    """Still in control; look at it."""
    REVIEW = "review"
    """In control today; a cause is at work and should be found."""
    FAIL = "fail"


WithinRun = Literal["none", "two beyond", "both sides", "range"]
"""How a rule compares the controls of one run: not at all, or by one of three forms."""


class Rule(NamedTuple):
    """One rule. It looks along each control, and where it says so along all controls and within a run."""

    id: str
    definition: str
    verdict: Verdict
    causes: str
    """What usually lies behind it at a bench of this kind."""
    span: int
    """How many values it looks at, the present one among them."""
    pattern: "Pattern | None"
    """Along one control; None for a rule that only compares the controls of a run."""
    across: bool = False
    """Whether the pattern also runs through the controls of all levels in the order they were made."""
    within_run: WithinRun = "none"


class RuleSet(NamedTuple):
    """Rules that are applied together, under the name that each verdict carries."""

    name: str
    rules: tuple[Rule, ...]
    source: str = "made for the occasion"


_SLIP: Final = "a slip at the bench, a wrong standard or sample cup, air in the burette"
_SHIFT: Final = "a new lot of titrant or standard, a new calibration or factor, another operator"
_DRIFT: Final = "a titrant or standard that ages, an electrode that fouls, a slow change of temperature"
_SCATTER: Final = "a poor end point, an unsteady electrode, sample volumes that vary"
_MIXED: Final = "two instruments, operators or bottles used in turn"
_FLAT: Final = "limits that are too wide, readings rounded too far, or a control that is not measured afresh"


def _one(rule_id: str, limit: float, verdict: Verdict = Verdict.FAIL) -> Rule:
    return Rule(rule_id, f"one value beyond {limit:g} s", verdict, _SLIP, 1, beyond(limit))


def _some(rule_id: str, count: int, window: int, limit: float, causes: str = _SHIFT) -> Rule:
    text = f"{count} of {window} consecutive values beyond {limit:g} s on the same side"
    return Rule(rule_id, text, Verdict.FAIL, causes, window, some_of(count, window, limit))


def _one_side(rule_id: str, count: int, window: int, verdict: Verdict = Verdict.FAIL) -> Rule:
    of = f"{count} consecutive values" if count == window else f"{count} of {window} consecutive values"
    text = f"{of} on one side of the centre line"
    return Rule(rule_id, text, verdict, _SHIFT, window, some_of(count, window, 0.0))


def _trend(rule_id: str, points: int, verdict: Verdict = Verdict.FAIL) -> Rule:
    text = f"{points} consecutive values steadily rising or steadily falling"
    return Rule(rule_id, text, verdict, _DRIFT, points, monotone(points))


def _controls_in_row(rule_id: str, count: int, limit: float, within_run: WithinRun = "none") -> Rule:
    where = f"beyond the same {limit:g} s limit" if limit else "on one side of the mean"
    across = within_run == "none"
    along = "within a level or across levels" if across else "within one run, or one level over two runs"
    text = f"{count} consecutive controls {where}, {along}"
    pattern = some_of(count, count, limit)
    return Rule(rule_id, text, Verdict.FAIL, _SHIFT, count, pattern, across=across, within_run=within_run)


_RULES: Final = (
    _one("3s", 3),
    _one("WE1", 3),
    _some("WE2", 2, 3, 2),
    _some("WE3", 4, 5, 1),
    _one_side("WE4", 8, 8),
    _one("N1", 3),
    _one_side("N2", 9, 9),
    _trend("N3", 6),
    Rule("N4", "14 consecutive values up and down in turn", Verdict.FAIL, _MIXED, 14, alternating(14)),
    _some("N5", 2, 3, 2),
    _some("N6", 4, 5, 1),
    Rule("N7", "15 consecutive values within 1 s", Verdict.REVIEW, _FLAT, 15, all_within(15, 1)),
    Rule(
        "N8",
        "8 consecutive values beyond 1 s, both sides among them",
        Verdict.REVIEW,
        _MIXED,
        8,
        none_within(8, 1),
    ),
    _one("ISO1", 3),
    _one_side("ISO2", 7, 7),
    _trend("ISO3", 7),
    _one("IUPAC-a", 3),
    Rule(
        "IUPAC-b",
        "this value and the one before beyond 2 s but not 3 s, whichever side",
        Verdict.FAIL,
        _SCATTER,
        2,
        some_between(2, 2, 2, 3),
    ),
    _one_side("IUPAC-c", 9, 9),
    _one("NT-action", 3),
    Rule(
        "NT-2of3",
        "beyond 2 s but not 3 s, as at least one of the two values before",
        Verdict.FAIL,
        _SCATTER,
        3,
        some_between(2, 3, 2, 3),
    ),
    Rule(
        "NT-warn",
        "beyond 2 s but not 3 s, as neither of the two values before",
        Verdict.WARN,
        "chance, about one value in twenty",
        3,
        only_between(2, 3, 2, 3),
    ),
    _trend("NT-trend7", 7, Verdict.REVIEW),
    _one_side("NT-10of11", 10, 11, Verdict.REVIEW),
    _one("1-2s", 2, Verdict.WARN),
    _one("1-3s", 3),
    _controls_in_row("2-2s", 2, 2, within_run="two beyond"),
    Rule(
        "R-4s",
        "within one run, one control beyond +2 s and another beyond -2 s",
        Verdict.FAIL,
        _SCATTER,
        1,
        None,
        within_run="both sides",
    ),
    Rule(
        "R-4s-range",
        "within one run, the controls span more than 4 s",
        Verdict.FAIL,
        _SCATTER,
        1,
        None,
        within_run="range",
    ),
    _controls_in_row("4-1s", 4, 1),
    _controls_in_row("8x", 8, 0),
    _controls_in_row("10x", 10, 0),
    _controls_in_row("12x", 12, 0),
)
_RULE_BY_ID: Final = {each.id: each for each in _RULES}


def rule(rule_id: str) -> Rule:
    """Return the rule with this id; raise `UnknownNameError` if there is none."""
    try:
        return _RULE_BY_ID[rule_id]
    except KeyError:
        known = ", ".join(_RULE_BY_ID)
        raise UnknownNameError(
            f"unknown control rule {rule_id!r}; known rules: {known}", name="rule_id", value=rule_id
        ) from None


def _set(name: str, source: str, *rule_ids: str) -> RuleSet:
    return RuleSet(name, tuple(_RULE_BY_ID[rule_id] for rule_id in rule_ids), source)


_RULE_SETS: Final = (
    _set(
        "nordtest",
        "Nordtest TR 569, interpretation of control charts. Recalled.",
        "NT-action",
        "NT-2of3",
        "NT-warn",
        "NT-trend7",
        "NT-10of11",
    ),
    _set("shewhart3", "ISO 7870-2:2023, 8.2.7, routine monitoring, as quoted by others. Published.", "3s"),
    _set(
        "westgard",
        "J. O. Westgard et al., Clin. Chem. 27 (1981) 493; R-4s by sides. Published.",
        "1-2s",
        "1-3s",
        "2-2s",
        "R-4s",
        "4-1s",
        "10x",
    ),
    _set(
        "westgard_range",
        "as westgard, with R-4s as a range above 4 s, the other form in use. Published.",
        "1-2s",
        "1-3s",
        "2-2s",
        "R-4s-range",
        "4-1s",
        "10x",
    ),
    _set(
        "iupac",
        "M. Thompson, R. Wood, Pure Appl. Chem. 67 (1995) 649. Recalled.",
        "IUPAC-a",
        "IUPAC-b",
        "IUPAC-c",
    ),
    _set("iso_7870_2", "ISO 7870-2:2013, clause 8. Recalled.", "ISO1", "ISO2", "ISO3"),
    _set(
        "western_electric",
        "Statistical Quality Control Handbook, 1956, as quoted by others. Published.",
        "WE1",
        "WE2",
        "WE3",
        "WE4",
    ),
    _set(
        "nelson",
        "L. S. Nelson, J. Qual. Technol. 16 (1984) 237, as quoted by others. Published.",
        "N1",
        "N2",
        "N3",
        "N4",
        "N5",
        "N6",
        "N7",
        "N8",
    ),
)
_RULE_SET_BY_NAME: Final = {each.name: each for each in _RULE_SETS}


def rule_sets() -> tuple[RuleSet, ...]:
    """Return every named rule set, the default first."""
    return _RULE_SETS


def rule_set(name: str) -> RuleSet:
    """Return the rule set of this name; raise `UnknownNameError` if there is none."""
    try:
        return _RULE_SET_BY_NAME[name]
    except KeyError:
        known = ", ".join(_RULE_SET_BY_NAME)
        raise UnknownNameError(
            f"unknown rule set {name!r}; known sets: {known}", name="rule_set", value=name
        ) from None

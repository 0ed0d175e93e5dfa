"""Every rule and every reason stands in the documentation, and every code that is raised is known."""

import re
from pathlib import Path

import pytest

import bench
from bench.cards import CARDS
from bench.due import DUE
from bench.reasons import REASONS
from bench.rules import RULES

ROOT = Path(bench.__file__).parents[1]
PAGE = (ROOT / "docs" / "rules.md").read_text(encoding="utf-8")
SOURCES = [
    path.read_text(encoding="utf-8") for room in ("bench", "api") for path in (ROOT / room).rglob("*.py")
]
RAISED = {
    code
    for text in SOURCES
    for code in re.findall(r'(?:Refused|Malformed|NotThere|Forbidden)Error\(\s*"([a-z_.]+)"', text)
}
CAUSES = {code for text in SOURCES for code in re.findall(r'Cause\(\s*"([a-z_.]+)"', text)}


@pytest.mark.parametrize("code", RULES)
def test_a_rule_is_documented(code: str) -> None:
    assert f"| `{code}` | {RULES[code]} |" in PAGE


@pytest.mark.parametrize("code", REASONS)
def test_a_reason_is_documented(code: str) -> None:
    reason = REASONS[code]
    assert f"| `{code}` | {reason.grade.word} | {reason.words} | {reason.advice} |" in PAGE


def test_every_rule_that_refuses_is_known_and_every_known_rule_refuses_somewhere() -> None:
    assert set(RULES) == RAISED


def test_every_cause_is_a_known_reason() -> None:
    assert set(REASONS) >= CAUSES


@pytest.mark.parametrize("code", DUE)
def test_what_can_be_due_is_documented(code: str) -> None:
    kind = DUE[code]
    mark = "yes" if kind.is_alert else ""
    assert f"| `{code}` | {mark} | {kind.words} | {kind.action} |" in PAGE


def test_every_item_of_the_due_list_is_of_a_known_kind_and_every_kind_can_come() -> None:
    written = {code for text in SOURCES for code in re.findall(r'DueItem\(\s*f?"([a-z_.{}]+)"', text)}
    patterns = [re.compile(re.sub(r"{\w+}", "[a-z_]+", one.replace(".", r"\."))) for one in written]
    assert {code for code in DUE if any(one.fullmatch(code) for one in patterns)} == set(DUE)
    assert {one for one in written if "{" not in one} <= set(DUE)


@pytest.mark.parametrize(("kind", "code"), [(kind, code) for kind, card in CARDS.items() for code in card])
def test_a_point_of_a_card_is_documented_and_broken_by_what_can_be_due(kind: str, code: str) -> None:
    point = CARDS[kind][code]
    assert f"| {kind} | `{code}` | {point.words} |" in PAGE
    assert set(point.broken_by) <= {*DUE, "clock"}

"""Every rule and every reason stands in the documentation, and every code that is raised is known."""

import re
from pathlib import Path

import pytest

import bench
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

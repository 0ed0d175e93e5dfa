import ast

import pytest

from tests.mutation.mutants import find_mutants, mutated

SOURCE = '''
"""Numbers 1 and 2 in a docstring are left alone."""
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    WIDTH: Literal[3] = 3


def root(a: float, b: "Literal[4]" = 0.5) -> float:
    if a < 2:
        raise ValueError(f"below {2:g}", 7)
    return -a + b * 10
'''


def changes() -> list[str]:
    return [mutant.change for mutant in find_mutants("evaluate.made_up", SOURCE)]


def test_numbers_signs_and_comparisons_are_found_and_words_are_not() -> None:
    assert sorted(changes()) == [
        "-a + b * 10: Add to Sub",
        "-a loses its sign",
        "0.5 to 0.505",
        "10 to 10.1",
        "2 to 2.02",
        "a < 2: Lt to GtE",
    ]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ("-a + b * 10: Add to Sub", -3.0 - 5.0),
        ("-a loses its sign", 3.0 + 5.0),
        ("0.5 to 0.505", -3.0 + 5.05),
        ("10 to 10.1", -3.0 + 5.05),
    ],
)
def test_exactly_one_change_is_made(change: str, expected: float) -> None:
    names: dict[str, object] = {}
    tree = ast.fix_missing_locations(mutated(SOURCE, changes().index(change)))
    exec(compile(tree, "made_up", "exec"), names)
    assert names["root"](3.0) == pytest.approx(expected)  # type: ignore[operator]  # it is the function


def test_a_mutant_is_known_by_its_line_and_change_and_not_by_its_number() -> None:
    (before,) = [m for m in find_mutants("evaluate.made_up", SOURCE) if m.change == "10 to 10.1"]
    (after,) = [m for m in find_mutants("evaluate.made_up", "\n" + SOURCE) if m.change == "10 to 10.1"]
    assert before.key == after.key == ("evaluate.made_up", "return -a + b * 10", "10 to 10.1")
    assert after.line == before.line + 1

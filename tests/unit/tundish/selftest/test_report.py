import json
import math
from collections.abc import Callable

import pytest

from tundish.selftest import report, runner
from tundish.selftest.case import Case, NotReproduced, Status


def a_case(id_: str, find: Callable[[], float], status: Status = Status.PUBLISHED) -> Case:
    return Case(id_, "a figure [1]", "a source", status, 1.25, 0.1, find)


def raises() -> float:
    raise ValueError("no such number")


OUTCOME = runner.run(
    [
        a_case("t/first cell", lambda: 1.26),
        a_case("t/second cell", lambda: 9.0),
        a_case("broken", raises),
        a_case("recalled", lambda: 9.0, Status.MEMORY),
    ],
    [NotReproduced("t/D4 n=17", "a book", 1.662, 1.622137, "misprint")],
)


def test_text_lists_the_cells_under_their_table_with_what_was_found() -> None:
    lines = [" ".join(line.split()) for line in report.as_text(OUTCOME, 100).splitlines()]
    start = lines.index("t: FAILED (published)")
    assert lines[start + 1 : start + 4] == [
        "a source",
        "first cell 1.25 1.26 ± 0.1 ok",
        "second cell 1.25 9 ± 0.1 FAILED",
    ]


def test_text_says_what_went_wrong_and_what_never_decides() -> None:
    text = report.as_text(OUTCOME, 100)
    assert "ValueError: no such number" in text
    assert "recalled: FAILED, does not decide (memory)" in text


def test_text_names_the_printed_figures_in_doubt_with_the_reason() -> None:
    text = report.as_text(OUTCOME, 100)
    assert "not reproduced: t/D4 n=17: printed 1.662, found 1.622137" in text
    assert "misprint; a book" in text


def test_text_ends_with_the_count() -> None:
    last = report.as_text(OUTCOME, 400).splitlines()[-1]
    assert last.startswith("0 of 2 tables and figures reproduced; 4 cells compared")
    assert "3 published, 0 computed from published inputs, 1 memory" in last


@pytest.mark.parametrize("width", [1, 60, 79, 132])
def test_text_keeps_within_the_width(width: int) -> None:
    long = runner.run([a_case("t/" + "a very long name of a cell " * 4, lambda: 1.25)])
    for outcome in (OUTCOME, long):
        assert max(map(len, report.as_text(outcome, width).splitlines())) <= max(width, report.NARROWEST)


def test_json_holds_every_column_of_every_cell() -> None:
    found = json.loads(json.dumps(report.as_json(OUTCOME), allow_nan=False))
    (table,) = (each for each in found["tables"] if each["id"] == "t")
    assert table["cells"][0] == {
        "id": "t/first cell",
        "what": "a figure [1]",
        "source": "a source",
        "status": "published",
        "expected": 1.25,
        "found": 1.26,
        "tolerance": 0.1,
        "digits": pytest.approx(-math.log10(0.008)),
        "passed": True,
        "problem": "",
    }


def test_json_counts_like_the_outcome_and_lists_the_doubts() -> None:
    found = report.as_json(OUTCOME)
    assert (found["passed"], found["reproduced"], found["deciding"], found["cells"]) == (False, 0, 2, 4)
    assert found["not_reproduced"][0]["reason"] == "misprint"
    assert [each["cells"][0]["found"] for each in found["tables"] if each["id"] == "broken"] == [None]


@pytest.mark.parametrize(
    ("expected", "found", "digits"),
    [(1.0, 1.0, 15.0), (2.0, 2.002, 3.0), (1.0, 5.0, 0.0), (-4.0, -4.0004, 4.0), (0.0, 1e-9, None)],
)
def test_digits_that_agree_are_the_log_relative_error(
    expected: float, found: float, digits: float | None
) -> None:
    case = Case("one", "a figure [1]", "a source", Status.PUBLISHED, expected, 0.1, lambda: found)
    assert runner.run_case(case).digits == (digits if digits is None else pytest.approx(digits, abs=1e-6))


def test_text_counts_the_digits_where_many_are_certified() -> None:
    exacting = Case("strd/mean", "mean [1]", "NIST", Status.PUBLISHED, 100.0, 1e-9, lambda: 100.00000000001)
    text = report.as_text(runner.run([exacting]), 100)
    assert "agrees in 13.0 digits" in text
    assert "agrees in" not in report.as_text(OUTCOME, 100)

"""Every published figure that ships with the program, held against what the program computes."""

import pytest

from tundish.selftest import runner
from tundish.selftest.case import Case, NotReproduced

CASES = tuple(runner.all_cases())
DECIDING = tuple(case for case in CASES if runner.run([case]).deciding)
DOUBTFUL = tuple(runner.all_not_reproduced())


@pytest.mark.parametrize("table", sorted({case.table for case in DECIDING}))
def test_every_cell_of_the_table_is_reproduced(table: str) -> None:
    outcome = runner.run(case for case in DECIDING if case.table == table)
    assert [cell for each in outcome.tables for cell in each.cells if not cell.passed] == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_a_case_says_what_it_is_and_where_it_comes_from(case: Case) -> None:
    assert case.source.strip()
    assert case.what.rstrip().endswith("]"), "the unit stands in brackets at the end"
    assert case.tolerance >= 0


@pytest.mark.parametrize("doubtful", DOUBTFUL, ids=lambda doubtful: doubtful.id)
def test_a_figure_listed_as_not_reproduced_really_differs(doubtful: NotReproduced) -> None:
    assert doubtful.printed != doubtful.found
    assert doubtful.reason


def test_a_tolerance_is_small_against_its_figure() -> None:
    # Figures near zero are judged by their place instead.
    judged = [case for case in DECIDING if abs(case.expected) > 0.1]
    loose = [case.id for case in judged if case.tolerance > 0.1 * abs(case.expected)]
    assert loose == []


def test_two_cases_of_one_id_are_refused() -> None:
    with pytest.raises(ValueError, match="used twice"):
        list(runner.all_cases(("tundish.selftest.cases_statistics",) * 2))


def test_only_the_figures_asked_for_are_run() -> None:
    outcome = runner.run_all("strd.norris")
    assert [table.name for table in outcome.tables] == ["strd.norris"]
    assert outcome.not_reproduced == ()

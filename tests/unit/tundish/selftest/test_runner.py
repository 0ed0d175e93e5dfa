from collections.abc import Callable

import pytest

from tundish.selftest import runner
from tundish.selftest.case import Case, NotReproduced, Status


def a_case(id_: str, found: float, status: Status = Status.PUBLISHED) -> Case:
    return Case(id_, "a figure [1]", "a source", status, expected=1.0, tolerance=0.1, find=lambda: found)


def a_case_that(find: Callable[[], float]) -> Case:
    return Case("a.case", "a figure [1]", "a source", Status.PUBLISHED, 1.0, 0.1, find)


def raises() -> float:
    raise ZeroDivisionError("no such number")


def test_a_figure_within_tolerance_passes_and_one_outside_fails() -> None:
    assert runner.run_case(a_case("in", 1.0999)).passed
    assert not runner.run_case(a_case("out", 1.1001)).passed
    assert not runner.run_case(a_case("below", 0.8999)).passed


def test_a_computation_that_raises_fails_its_figure_and_says_why() -> None:
    result = runner.run_case(a_case_that(raises))
    assert (result.passed, result.found) == (False, None)
    assert result.problem == "ZeroDivisionError: no such number"


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_figure_that_is_no_number_fails(value: float) -> None:
    result = runner.run_case(a_case_that(lambda: value))
    assert not result.passed
    assert "the computation gave" in result.problem


def test_a_table_counts_once_and_lists_its_cells() -> None:
    outcome = runner.run([a_case("t/1", 1.0), a_case("alone", 1.0), a_case("t/2", 1.0)])
    assert [table.name for table in outcome.tables] == ["alone", "t"]
    assert [cell.id for cell in outcome.tables[1].cells] == ["t/1", "t/2"]
    assert (outcome.reproduced, outcome.cells) == (2, 3)


def test_one_wrong_cell_fails_its_table_and_the_run() -> None:
    outcome = runner.run([a_case("t/1", 1.0), a_case("t/2", 2.0), a_case("u", 1.0)])
    assert [table.passed for table in outcome.tables] == [False, True]
    assert (outcome.reproduced, outcome.passed) == (1, False)


def test_a_figure_from_memory_is_reported_and_never_decides() -> None:
    outcome = runner.run(
        [a_case("t/1", 1.0), a_case("t/2", 9.0, Status.MEMORY), a_case("m", 9.0, Status.MEMORY)]
    )
    assert outcome.passed
    assert [table.name for table in outcome.deciding] == ["t"]
    assert {table.name: table.passed for table in outcome.tables} == {"t": True, "m": False}


def test_a_table_names_the_statuses_of_its_cells_strongest_first() -> None:
    outcome = runner.run([a_case("t/1", 1.0, Status.MEMORY), a_case("t/2", 1.0)])
    assert outcome.tables[0].statuses == (Status.PUBLISHED, Status.MEMORY)


def test_printed_figures_that_do_not_reproduce_are_carried_along() -> None:
    doubtful = NotReproduced("d4.17", "a book", printed=1.662, found=1.622, reason="misprint")
    assert runner.run([], [doubtful]).not_reproduced == (doubtful,)

"""Runs the published figures on this installation and counts what was reproduced."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from itertools import groupby
from typing import Final

from tundish.selftest.case import Case, NotReproduced, Status

AREAS: Final = (
    "tundish.selftest.cases_chart_constants",
    "tundish.selftest.cases_control_charts",
    "tundish.selftest.cases_critical_values",
    "tundish.selftest.cases_electrode",
    "tundish.selftest.cases_statistics",
    "tundish.selftest.cases_titration",
    "tundish.selftest.cases_uncertainty",
    "tundish.selftest.cases_wine",
)
"""Every module that brings cases; each has ``cases()`` and may have ``not_reproduced()``."""
MOST_DIGITS: Final = 15.0  # [1] what a double can show of a certified value, and as many as NIST prints


@dataclass(frozen=True, slots=True)
class Result:
    """One published figure and what this installation made of it."""

    id: str
    what: str
    source: str
    status: Status
    expected: float
    found: float | None
    """None when the computation raised; `problem` then says what."""
    tolerance: float
    passed: bool
    problem: str = ""

    @property
    def decides(self) -> bool:
        """Whether this row may fail the run: a figure from memory never does."""
        return self.status is not Status.MEMORY

    @property
    def digits(self) -> float | None:
        """How many digits agree: the log relative error, 15 at most; None where it says nothing."""
        if self.found is None or self.expected == 0:
            return None
        apart = abs(self.found / self.expected - 1)
        return MOST_DIGITS if apart == 0 else max(0.0, min(MOST_DIGITS, -math.log10(apart)))

    @property
    def table(self) -> str:
        """The table this cell belongs to; see `Case.table`."""
        return self.id.split("/", 1)[0]


@dataclass(frozen=True, slots=True)
class TableResult:
    """The cells of one table. A table counts once in the total, however many cells it has."""

    name: str
    cells: tuple[Result, ...]

    @property
    def decides(self) -> bool:
        """Whether any cell may fail the run."""
        return any(cell.decides for cell in self.cells)

    @property
    def passed(self) -> bool:
        """Whether every cell that counts was reproduced; in a table from memory, every cell."""
        counted = [cell for cell in self.cells if cell.decides] or self.cells
        return all(cell.passed for cell in counted)

    @property
    def statuses(self) -> tuple[Status, ...]:
        """The statuses that occur among the cells, strongest first."""
        present = {cell.status for cell in self.cells}
        return tuple(status for status in Status if status in present)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The whole run."""

    tables: tuple[TableResult, ...]
    not_reproduced: tuple[NotReproduced, ...]

    @property
    def deciding(self) -> tuple[TableResult, ...]:
        """The tables that may fail the run."""
        return tuple(table for table in self.tables if table.decides)

    @property
    def reproduced(self) -> int:
        """How many of the deciding tables were reproduced."""
        return sum(table.passed for table in self.deciding)

    @property
    def cells(self) -> int:
        """How many figures were compared in all, those from memory among them."""
        return sum(len(table.cells) for table in self.tables)

    @property
    def passed(self) -> bool:
        """Whether every figure that counts was reproduced."""
        return self.reproduced == len(self.deciding)


def all_cases(areas: Iterable[str] = AREAS) -> Iterator[Case]:
    """Yield the cases of every area; raise `ValueError` if two have one id."""
    seen: set[str] = set()
    for area in areas:
        for case in import_module(area).cases():
            if case.id in seen:
                raise ValueError(f"{area}: case id {case.id!r} is used twice; every case needs its own")
            seen.add(case.id)
            yield case


def all_not_reproduced(areas: Iterable[str] = AREAS) -> Iterator[NotReproduced]:
    """Yield the printed figures that are known not to reproduce, of every area."""
    for area in areas:
        yield from getattr(import_module(area), "not_reproduced", tuple)()


def run_case(case: Case) -> Result:
    """Compute one figure and compare; a computation that raises is a failed figure, not an error."""
    found, problem = _find(case)
    passed = found is not None and abs(found - case.expected) <= case.tolerance
    return Result(
        case.id, case.what, case.source, case.status, case.expected, found, case.tolerance, passed, problem
    )


def run(cases: Iterable[Case], not_reproduced: Iterable[NotReproduced] = ()) -> Outcome:
    """Run cases in their order and gather them by table."""
    results = sorted((run_case(case) for case in cases), key=lambda result: result.table)  # stable in a table
    tables = tuple(
        TableResult(name, tuple(cells)) for name, cells in groupby(results, key=lambda result: result.table)
    )
    return Outcome(tables, tuple(not_reproduced))


def run_all(only: str = "") -> Outcome:
    """Run every published figure of this installation, or those whose id begins with `only`."""
    return run(
        (case for case in all_cases() if case.id.startswith(only)),
        (doubt for doubt in all_not_reproduced() if doubt.id.startswith(only)),
    )


def _find(case: Case) -> tuple[float | None, str]:
    try:
        found = float(case.find())
    except Exception as error:  # one bad figure must not hide the others
        return None, f"{type(error).__name__}: {error}"
    return (found, "") if math.isfinite(found) else (None, f"the computation gave {found}")

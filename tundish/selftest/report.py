"""The outcome of the published figures, for a person and for a program."""

import textwrap
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from typing import Any, Final

from tundish.selftest.case import NotReproduced, Status
from tundish.selftest.runner import Outcome, Result, TableResult

NARROWEST: Final = 60  # [characters] below it the columns no longer fit
EXACTING: Final = 1e-7  # [1] relative tolerance from which on the digits that agree are counted
_VERDICT: Final = {True: "ok", False: "FAILED"}


def as_text(outcome: Outcome, width: int) -> str:
    """Return tables with their cells, doubtful prints and the count, at most `width` wide, 60 at least."""
    room = max(width, NARROWEST)
    lines = [line for table in outcome.tables for line in _table_lines(table, room)]
    lines += [line for doubtful in outcome.not_reproduced for line in _doubt_lines(doubtful, room)]
    return "\n".join([*lines, "", *_wrapped(summary(outcome), room)])


def as_json(outcome: Outcome) -> dict[str, Any]:
    """Return the outcome as values that JSON knows; every cell of every table is a row."""
    return {
        "passed": outcome.passed,
        "reproduced": outcome.reproduced,
        "deciding": len(outcome.deciding),
        "cells": outcome.cells,
        "tables": [
            {
                "id": table.name,
                "passed": table.passed,
                "decides": table.decides,
                "status": [str(status) for status in table.statuses],
                "cells": [_cell_row(cell) for cell in table.cells],
            }
            for table in outcome.tables
        ],
        "not_reproduced": [
            {
                "id": each.id,
                "source": each.source,
                "printed": each.printed,
                "found": each.found,
                "reason": each.reason,
            }
            for each in outcome.not_reproduced
        ],
    }


def _cell_row(cell: Result) -> dict[str, Any]:
    return {
        "id": cell.id,
        "what": cell.what,
        "source": cell.source,
        "status": str(cell.status),
        "expected": cell.expected,
        "found": cell.found,
        "tolerance": cell.tolerance,
        "digits": cell.digits,
        "passed": cell.passed,
        "problem": cell.problem,
    }


def _table_lines(table: TableResult, room: int) -> Iterator[str]:
    statuses = ", ".join(table.statuses)
    does = _VERDICT[table.passed] if table.decides else f"{_VERDICT[table.passed]}, does not decide"
    yield from _wrapped(f"{table.name}: {does} ({statuses})", room)
    sources = dict.fromkeys(cell.source for cell in table.cells)
    for source in islice(sources, 3):
        yield from _wrapped(source, room, indent=4)
    for cell in table.cells:
        yield from _cell_lines(cell, room)


def _cell_lines(cell: Result, room: int) -> Iterator[str]:
    name = cell.id.split("/", 1)[-1]
    found = "none" if cell.found is None else f"{cell.found:.7g}"
    figures = f"{cell.expected:>14.7g} {found:>14} ± {cell.tolerance:<9.2g} {_VERDICT[cell.passed]}"
    column = room - len(figures) - 5
    if len(name) > column:
        yield from _wrapped(name, room, indent=4)
        name = ""
    yield f"    {name:<{column}} {figures}"
    if cell.digits is not None and cell.tolerance <= EXACTING * abs(cell.expected):
        yield f"        agrees in {cell.digits:.1f} digits"
    if cell.problem:
        yield from _wrapped(cell.problem, room, indent=8)


def _doubt_lines(doubtful: NotReproduced, room: int) -> Iterator[str]:
    text = f"not reproduced: {doubtful.id}: printed {doubtful.printed:.7g}, found {doubtful.found:.7g}"
    yield from _wrapped(text, room)
    yield from _wrapped(f"{doubtful.reason}; {doubtful.source}", room, indent=4)


def summary(outcome: Outcome) -> str:
    """Return the count in one sentence."""
    by_status = Counter(cell.status for table in outcome.tables for cell in table.cells)
    counts = ", ".join(f"{by_status[status]} {status}" for status in Status)
    return (
        f"{outcome.reproduced} of {len(outcome.deciding)} tables and figures reproduced; "
        f"{outcome.cells} cells compared ({counts}; those from memory never decide); "
        f"{len(outcome.not_reproduced)} printed figures are known not to reproduce."
    )


def _wrapped(text: str, room: int, indent: int = 0) -> list[str]:
    blank = " " * indent
    return textwrap.wrap(text, room, initial_indent=blank, subsequent_indent=blank or "  ")

"""The outcome on one page, in Markdown: a line a table, the curves, certified digits, prints in doubt."""

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from tundish.selftest.case import NotReproduced
from tundish.selftest.curves import Found
from tundish.selftest.report import EXACTING, summary
from tundish.selftest.runner import Outcome, Result, TableResult

HEAD: Final = """\
# Published figures

What `tundish selftest` finds, on one page. `tundish selftest --page` writes it, and a test holds it in step.
[selftest.md](selftest.md) says how it is read.
"""


def as_page(outcome: Outcome, curves: Iterable[Found] = ()) -> str:
    """Return the page; sections that have nothing to show are left out."""
    parts = [
        HEAD,
        f"{summary(outcome)}\n",
        *_section("Tables", ("table", "status", "cells", "reproduced", "source"), _table_rows(outcome)),
        *_section(
            "Titration curves",
            ("curve", "published, mL", "first derivative", "second derivative", "Gran"),
            map(_curve_row, curves),
        ),
        *_section(
            "Uncertainty: the examples of QUAM",
            ("figure", "status", "expected", "found", "allowed apart"),
            (_cell_row(cell) for cell in _cells(outcome) if cell.id.startswith("quam.a")),
        ),
        *_section(
            "Digits agreed with certified values",
            ("figure", "certified", "digits agreed"),
            (_digits_row(cell) for cell in _cells(outcome) if _is_certified(cell)),
        ),
        *_section(
            "Figures that do not reproduce",
            ("figure", "printed", "found", "reason", "source"),
            map(_doubt_row, outcome.not_reproduced),
        ),
    ]
    return "\n".join(parts)


def _section(title: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    body = ["| " + " | ".join(_in_cell(text) for text in row) + " |" for row in rows]
    if body:
        rule = "|" + "---|" * len(heads)
        yield "\n".join([f"## {title}", "", f"| {' | '.join(heads)} |", rule, *body, ""])


def _in_cell(text: str) -> str:
    return text.replace("|", "\\|")


def _cells(outcome: Outcome) -> Iterator[Result]:
    return (cell for table in outcome.tables for cell in table.cells)


def _table_rows(outcome: Outcome) -> Iterator[Sequence[str]]:
    for table in outcome.tables:
        sources = "; ".join(dict.fromkeys(cell.source for cell in table.cells))
        yield f"`{table.name}`", ", ".join(table.statuses), str(len(table.cells)), _verdict(table), sources


def _verdict(table: TableResult) -> str:
    agreed = sum(cell.passed for cell in table.cells)
    said = "yes" if table.passed else f"{agreed} of {len(table.cells)}"
    return said if table.decides else f"{said}; does not decide"


def _curve_row(found: Found) -> Sequence[str]:
    return (
        found.curve.what,
        found.curve.published_ml,
        found.first_derivative,
        found.second_derivative,
        found.gran,
    )


def _cell_row(cell: Result) -> Sequence[str]:
    found = "none" if cell.found is None else f"{cell.found:.5g}"
    return (
        f"`{cell.id}` {cell.what}",
        str(cell.status),
        f"{cell.expected:.5g}",
        found,
        f"{cell.tolerance:.1g}",
    )


def _is_certified(cell: Result) -> bool:
    return (
        cell.id.startswith("strd.")
        and cell.digits is not None
        and cell.tolerance <= EXACTING * abs(cell.expected)
    )


def _digits_row(cell: Result) -> Sequence[str]:
    return f"`{cell.id}`", f"{cell.expected:.15g}", str(math.floor(cell.digits or 0.0))


def _doubt_row(doubt: NotReproduced) -> Sequence[str]:
    return f"`{doubt.id}`", f"{doubt.printed:.7g}", f"{doubt.found:.5g}", doubt.reason, doubt.source

"""Printed constants of control charts, and the misprints among them."""

import re
from collections.abc import Iterator
from functools import partial
from itertools import chain
from operator import attrgetter
from typing import Final

from evaluate.chart_constants import chart_constants
from evaluate.control_charts_ranges import range_chart_limits
from tundish.selftest.case import Case, NotReproduced, Status
from tundish.selftest.tables import rows

_ATTRIBUTES: Final = {
    "d2": "d2",
    "d3": "d3",
    "c4": "c4",
    "A2": "a2",
    "A3": "a3",
    "B3": "b3",
    "B4": "b4",
    "D3": "range_low",
    "D4": "range_high",
    "E2": "e2",
}
_BOOKS: Final = {
    "P1": "textbook, factors for constructing control charts, table A.22",
    "P3": "A. M. Joglekar, Statistical Methods for Six Sigma, appendix G",
    "P6": "handbook, factors for control charts, table 28-2",
}
_PRINTS: Final = re.compile(r"(P\d) prints (\w+)=([\d.]+)")
_MISPRINTED: Final = {("23", "d3")}  # no book seen prints it right


def cases() -> Iterator[Case]:
    """Yield every printed constant."""
    return chain(_constants(), _range_limits())


def not_reproduced() -> Iterator[NotReproduced]:
    """Yield the misprints in printed tables of chart constants."""
    for row in rows("qc/control_chart_constants.csv"):
        for book, name, printed in _PRINTS.findall(row["mismatch"]):
            found = _constant(int(row["n"]), _ATTRIBUTES[name])
            cut = abs(found - float(printed)) < 0.001
            yield NotReproduced(
                f"charts.constants/{name} n={row['n']} {book}",
                _BOOKS[book],
                float(printed),
                found,
                "last place not rounded correctly" if cut else "misprint: others print what is found here",
            )


def _constants() -> Iterator[Case]:
    for row in rows("qc/control_chart_constants.csv"):
        for name, attribute in _ATTRIBUTES.items():
            printed = row[f"{name}_pub"]
            if printed and (row["n"], name) not in _MISPRINTED:
                yield Case(
                    f"charts.constants/{name} n={row['n']}",
                    f"{name} for groups of {row['n']} [1]",
                    "ASTM table of factors for control charts, as reprinted in textbooks",
                    Status.PUBLISHED,
                    float(printed),
                    0.0001 if name == "c4" else 0.001,  # one in the last place: books round it either way
                    partial(_constant, int(row["n"]), attribute),
                )


def _range_limits() -> Iterator[Case]:
    for n, printed in ((2, 3.686), (3, 4.358), (4, 4.698), (5, 4.918)):
        yield Case(
            f"charts.ranges/n={n}",
            f"upper action limit of the range of {n} replicates [s_r]",
            "handbook, factors for control charts, table 28-2",
            Status.PUBLISHED,
            printed,
            0.000_51,
            partial(_range_action, n),
        )


def _constant(n: int, attribute: str) -> float:
    return float(attrgetter(attribute)(chart_constants(n)))


def _range_action(n: int) -> float:
    return range_chart_limits(1.0, n).action

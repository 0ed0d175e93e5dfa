"""What a benchmark says: a figure, its unit, its bar, and whether it was held."""

import platform
from collections.abc import Iterable
from dataclasses import dataclass

import psutil
from rich.console import Console
from rich.table import Table


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure. Without a bar it only informs."""

    name: str
    value: float
    unit: str
    bar: float | None = None
    at_most: bool = True
    """Whether the bar is a ceiling; otherwise it is a floor."""

    @property
    def held(self) -> bool:
        """Whether the figure is on the right side of its bar."""
        if self.bar is None:
            return True
        return self.value <= self.bar if self.at_most else self.value >= self.bar

    @property
    def bar_text(self) -> str:
        """The bar as a person reads it."""
        return "" if self.bar is None else f"{'≤' if self.at_most else '≥'} {self.bar:g}"


def machine(sqlite_version: str) -> str:
    """Name the machine in one line, and how busy it was in the last minute."""
    memory_gib = psutil.virtual_memory().total / 2**30
    load = psutil.getloadavg()[0]
    return (
        f"{platform.system()} {platform.machine()}, {psutil.cpu_count()} cores, {memory_gib:.0f} GiB, "
        f"Python {platform.python_version()}, SQLite {sqlite_version}; load {load:.1f}"
    )


def show(figures: Iterable[Figure], title: str) -> bool:
    """Print the table and tell whether every bar was held."""
    table = Table(title=title)
    for heading in ("figure", "value", "unit", "bar", ""):
        table.add_column(heading, justify="right" if heading in ("value", "bar") else "left")
    held = True
    for figure in figures:
        held &= figure.held
        mark = "" if figure.bar is None else ("held" if figure.held else "MISSED")
        table.add_row(figure.name, f"{figure.value:,.4g}", figure.unit, figure.bar_text, mark)
    Console(width=120).print(table)
    return held

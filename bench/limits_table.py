"""The shipped table of sulfur dioxide limits, read into values."""

import csv
from collections.abc import Iterable
from datetime import date
from importlib.resources import files

from evaluate.limits import LimitKind, SugarComparison, SulfurDioxideLimit


class LimitsTableError(ValueError):
    """A row of a table of limits cannot be read; the message names the row and the cell."""


def shipped_limits() -> tuple[SulfurDioxideLimit, ...]:
    """Return the limits that ship with the program; a summary, to be confirmed before use."""
    text = files("bench.tables").joinpath("so2_total_limits.csv").read_text(encoding="utf-8")
    return read_limits(text.splitlines())


def read_limits(lines: Iterable[str]) -> tuple[SulfurDioxideLimit, ...]:
    """Return the limits of a table in CSV; lines that begin with ``#`` are comments.

    Raises `LimitsTableError` if a column is missing or a cell is not what its column holds.
    """
    rows = csv.DictReader((line for line in lines if line.strip() and not line.startswith("#")), strict=True)
    return tuple(_limit(number, row) for number, row in enumerate(rows, start=1))


def _limit(number: int, row: dict[str, str]) -> SulfurDioxideLimit:
    try:
        return SulfurDioxideLimit(
            jurisdiction=row["jurisdiction"],
            wine_class=row["wine_class"],
            kind=LimitKind(row["kind"]),
            limit_mg_per_l=_number(row["limit_mg_l"]),
            shift_mg_per_l=_number(row["shift_mg_l"]),
            unit=row["unit"],
            sugar_test=row["sugar_test"],
            sugar_comparison=SugarComparison(row["sugar_comparison"]) if row["sugar_comparison"] else None,
            sugar_g_per_l=_number(row["sugar_g_l"]),
            valid_from=date.fromisoformat(row["valid_from"]) if row["valid_from"] else None,
            source=row["source"],
            status=row["status"],
        )
    except KeyError as missing:
        raise LimitsTableError(f"row {number} of the limits has no column {missing}") from missing
    except ValueError as wrong:
        raise LimitsTableError(f"row {number} of the limits cannot be read: {wrong}") from wrong


def _number(cell: str) -> float | None:
    return float(cell) if cell else None

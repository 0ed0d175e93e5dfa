"""Reads the tables of published figures that ship with the program.

A table is a CSV file below ``data/``. Lines that begin with ``#`` stand before the header row; they say where
the figures come from and may carry single figures as ``key=value``.
"""

import csv
import re
from importlib.resources import files

_KEY_AND_NUMBER = re.compile(r"\b(\w+)=([-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?)(?!\S)")


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a shipped table, each as column name to text.

    `name` is the path below ``data/``, such as ``qc/nist_ewma.csv``. An unknown name raises
    `FileNotFoundError`, a row with more or fewer cells than the header `ValueError`.
    """
    lines = [line for line in _lines(name) if line.strip() and not line.startswith("#")]
    found = list(csv.DictReader(lines, strict=True))
    for number, row in enumerate(found, start=1):
        if None in row or None in row.values():
            raise ValueError(f"{name}: row {number} has not as many cells as the header; mend the table")
    return found


def comments(name: str) -> list[str]:
    """Return the comment lines of a shipped table, without their ``#``."""
    return [line.removeprefix("#").strip() for line in _lines(name) if line.startswith("#")]


def figures(name: str) -> dict[str, float]:
    """Return the single figures which the comment lines carry as ``key=value``; the first of a key counts."""
    found: dict[str, float] = {}
    for line in comments(name):
        for key, number in _KEY_AND_NUMBER.findall(line):
            found.setdefault(key, float(number))
    return found


def _lines(name: str) -> list[str]:
    path = files("tundish.selftest").joinpath("data", *name.split("/"))
    return path.read_text(encoding="utf-8").splitlines()

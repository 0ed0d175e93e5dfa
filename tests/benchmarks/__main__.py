"""``make bench``: every figure beside its bar; exit code 1 if a bar is missed."""

import argparse
import sys
from collections.abc import Callable, Iterable

from storage.connect import sqlite_module
from tests.benchmarks import (
    beside,
    decode,
    desk,
    far,
    folders,
    formulas,
    hearing,
    large,
    large_acts,
    postgresql,
    sheets,
    standing,
    storage_rows,
)
from tests.benchmarks.report import Figure, machine, show


def _decoding() -> list[Figure]:
    bars = {"load-lines": 100_000.0}
    return [
        Figure(f"decode {name}", rate, "frames/s", bars.get(name), at_most=False)
        for name, rate in decode.measure().items()
    ]


def _writing() -> list[Figure]:
    return [
        Figure(f"write frame, reading and ledger entry: {name}", float(value), "")
        for name, value in storage_rows.measure().items()
        if isinstance(value, int | float)
    ]


PARTS: dict[str, Callable[[], Iterable[Figure]]] = {
    "formulas": formulas.measure,
    "decode": _decoding,
    "desk": desk.measure,
    "standing": standing.measure,
    "acts": large_acts.measure,
    "folders": folders.measure,
    "write": _writing,
    "sheets": sheets.measure,
    "postgresql": postgresql.measure,
    "latency": hearing.latency,
    "beside": beside.measure,
    "saturated": hearing.saturated,
    "rest": hearing.at_rest,
    "far": far.measure,
}

ON_REQUEST: dict[str, Callable[[], Iterable[Figure]]] = {"large": large.measure}
"""What takes too long to be measured each time."""


def main() -> int:
    """Measure the parts that are asked for; all without an argument."""
    parser = argparse.ArgumentParser(description=__doc__)
    text = f"which figures; if none is named all but {', '.join(ON_REQUEST)}"
    parser.add_argument("part", nargs="*", choices=[*PARTS, *ON_REQUEST, []], help=text)
    chosen = parser.parse_args().part or list(PARTS)
    figures = [figure for part in chosen for figure in (PARTS | ON_REQUEST)[part]()]
    held = show(figures, machine(sqlite_module().sqlite_version))
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())

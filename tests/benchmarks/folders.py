"""How long a look at a folder takes while nothing in it has changed, and how fast a new file is read."""

import os
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from acquire.clock import SystemClock
from acquire.config import FolderSource
from acquire.lines.folder_file import FileReader
from acquire.lines.folder_follow import Follower
from acquire.lines.folder_notes import NothingKnown
from acquire.lines.folder_scan import Scanner, Signature
from acquire.lines.folder_watch import FolderWatch
from acquire.lines.transport import Batch
from tests.benchmarks.report import Figure
from tests.fakes.table_drivers import table

FILES: Final = 10_000
ROWS: Final = 20_000
ROUNDS: Final = 7  # the fastest counts: the machine may be busy with other things
SCAN_BAR_MS: Final = 50.0  # [ms]


def measure() -> list[Figure]:
    """Measure a folder of many files, and one big file."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number in range(FILES):
            (folder / f"result-{number:05d}.csv").write_bytes(b"Sample;SO2\nW-1;28.5\n")
        scanner = Scanner(folder, ("*.csv",))
        follower = _settled(scanner.look())
        bare_ms = _fastest_ms(lambda: _bare_look(folder))
        look_ms = _fastest_ms(scanner.look)
        round_ms = _fastest_ms(lambda: follower.due(scanner.look(), time.monotonic_ns()))
    return [
        Figure(f"folder: ask the system about {FILES:,} files and do nothing else, CPU time", bare_ms, "ms"),
        Figure(f"folder: look at {FILES:,} files, CPU time", look_ms, "ms", SCAN_BAR_MS),
        Figure(f"folder: find that none of {FILES:,} has changed, CPU time", round_ms, "ms"),
        Figure("folder: read a new file of one header and many rows", _rows_per_second(), "rows/s"),
    ]


def _bare_look(folder: Path) -> None:
    with os.scandir(folder) as entries:
        for entry in entries:
            entry.stat()


def _settled(listing: dict[str, Signature]) -> Follower:
    follower = Follower(NothingKnown(), quiet_ns=0)
    for name, signature in listing.items():
        follower.settle(name, signature, 0)
        follower.settle(name, signature, 0)
    return follower


def _rows_per_second() -> float:
    """Return how fast rows reach whoever keeps them, on one core and without the keeping."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = b"".join(b"W-%05d;%d.5\n" % (row, row) for row in range(ROWS))
        (folder / "big.csv").write_bytes(b"Sample;SO2\n" + rows)
        seconds = min(_seconds_to_read(folder) for _ in range(3))
    return ROWS / seconds


def _seconds_to_read(folder: Path) -> float:
    given: list[Batch] = []
    reader = FileReader(folder, table(), NothingKnown())
    follower = Follower(NothingKnown(), quiet_ns=0)
    watch = FolderWatch(
        FolderSource(folder), reader, follower, given.append, stopping=threading.Event(), clock=SystemClock()
    )
    began = time.process_time()
    watch.once()
    took = time.process_time() - began
    if sum(len(piece.data) for batch in given for piece in batch.pieces) < ROWS * len(b"W-00000;0.5\n"):
        raise RuntimeError("rows are missing")
    return took


def _fastest_ms(call: Callable[[], object]) -> float:
    """Return the CPU time of a call, the system's part too, which other programs do not lengthen. [ms]"""
    best = float("inf")
    for _ in range(ROUNDS):
        began = time.process_time()
        call()
        best = min(best, time.process_time() - began)
    return best * 1000

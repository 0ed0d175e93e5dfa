"""Sheets as they leave over HTTP, against the database's own shell; pages, wide sheets and workbooks."""

import asyncio
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple
from urllib.request import urlopen

import psutil

from acquire.driver import DriverIdentity
from acquire.events import FrameRead, Instant, Outcome, Reading, Span
from acquire.sink import Chunk, Hearing, Opening
from storage import queries
from storage.connect import sqlite_module
from storage.csv_text import DIALECTS, ResultSheetFilter
from storage.queries import ReadingFilter
from storage.sheets.wide import wide_sheet
from storage.store import Store, open_store
from tests.benchmarks.report import Figure
from tests.fakes.cellar import Cellar
from tundish.store_sink import StoreSink

READINGS = 1_000_000
SAMPLES = 500
QUANTITIES = ("ph", "free_so2", "total_so2", "ta_ph_8_2", "density", "temperature", "turbidity", "redox")
BOOK_ROWS = 100_000
PAGES = 300
AT_US = 1_759_492_800_000_000  # 2025-10-03T12:00:00Z [µs]
FRAME = b"pH 3.410\r\n"
PIECE = 1 << 20  # [bytes]

_LEDGER = """
    WITH RECURSIVE n(i) AS (SELECT :first UNION ALL SELECT i + 1 FROM n WHERE i < :last)
    INSERT INTO ledger SELECT i, :at + i * 1000000, 'meter-1', 'device', 'reading.heard', NULL,
        zeroblob(32), zeroblob(32) FROM n
"""
_READINGS = """
    INSERT INTO reading SELECT l.number, l.number, 1, r.capture_number, r.frame_number, 0, 0, r.instrument,
        r.driver_number, l.at_us, 'ph', 'value', '3.410', '3.410', 3.41, 'pH', 'W-' || l.number,
        NULL, NULL, NULL, NULL, NULL
    FROM ledger l, (SELECT * FROM reading LIMIT 1) r WHERE l.number BETWEEN :first AND :last
"""
_THEIRS = """
    SELECT r.number, reading_id, version,
        strftime('%Y-%m-%dT%H:%M:%S', r.at_us / 1000000, 'unixepoch') || printf('.%06dZ', r.at_us % 1000000),
        r.instrument, line, quantity, outcome, value_numeral, unit, normal_text, normal_unit, sample,
        sequence, instrument_time, mode, stable, value_text, 'demo'
    FROM reading r JOIN capture c ON c.number = r.capture_number
        LEFT JOIN taken t ON t.reading_number = r.number ORDER BY r.number
"""


def measure() -> list[Figure]:
    """Return the figures."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "speed.db"
        last = _filled(path, READINGS)
        return [*_over_http(path), *_pages(path, last), *_wide(Path(folder) / "wide.db")]


def _filled(path: Path, rows: int) -> int:
    """Make a store with so many readings and return the last ledger number."""
    store = open_store(path, kind="demo", clock_us=lambda: AT_US)
    asyncio.run(_hear_once(store))
    first = store.writer.head.number + 1
    store.close()
    last = first + rows - 1
    with closing(sqlite_module().connect(path)) as connection:
        connection.execute(_LEDGER, {"first": first, "last": last, "at": AT_US})
        connection.execute(_READINGS, {"first": first, "last": last})
        connection.commit()
    return last


async def _hear_once(store: Store) -> None:
    sink = StoreSink(store.writer, store.begin_session("0", "", AT_US), {})
    at = Instant(AT_US, 0)
    capture = await sink.opened(Opening("line-1", "line-1", DriverIdentity("speed", "1", "x"), "", "", at))
    reading = Reading("ph", Outcome.VALUE, "3.410", None, "pH")
    await capture.heard(Hearing((Chunk(at, FRAME),), (FrameRead(Span(0, len(FRAME)), (reading,)),), at))


class Served(NamedTuple):
    """A store that a process of its own serves."""

    address: str
    process: psutil.Process
    tell: Callable[[str], None]
    """Gives it a line."""
    said: Callable[[], str]
    """Returns its next line."""


@contextmanager
def _served(path: Path) -> Iterator[Served]:
    """Serve a store by a process of its own until the end of the block."""
    call = [sys.executable, "-m", "tests.benchmarks.sheet_server", str(path)]
    with subprocess.Popen(call, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        given, said = process.stdin, process.stdout.readline

        def tell(line: str) -> None:
            given.write(f"{line}\n")
            given.flush()

        try:
            yield Served(said().strip(), psutil.Process(process.pid), tell, said)
        finally:
            process.stdin.close()
            process.wait()


def _over_http(path: Path) -> list[Figure]:
    name = f"sheet of {READINGS:,} readings over HTTP"
    with _served(path) as (address, process, tell, said):
        ours_s, size, most = _fetched(f"{address}/sheets/readings.csv", process)
        upto = READINGS - BOOK_ROWS
        tell("begin")
        _fetched(f"{address}/sheets/readings.csv", process)
        tell("end")
        commit_s = float(said())
        book_s, book_size, book_most = _fetched(f"{address}/sheets/readings.xlsx?since={upto}", process)
    figures = [
        Figure(f"{name} ({size / 2**20:.0f} MiB)", ours_s, "s"),
        Figure("most memory of its process meanwhile", most / 2**20, "MiB", 120),
        Figure("commits while such a sheet is sent, p99", commit_s * 1000, "ms", 25),
        Figure(f"workbook of about {BOOK_ROWS:,} rows ({book_size / 2**20:.1f} MiB)", book_s, "s", 10),
        Figure("most memory of its process meanwhile", book_most / 2**20, "MiB", 120),
    ]
    if (shell := shutil.which("sqlite3")) is None:
        return figures
    begun = time.perf_counter()
    call = [shell, "-readonly", "-csv", "-header", str(path), _THEIRS]
    subprocess.run(call, stdout=subprocess.DEVNULL, check=True)
    theirs_s = time.perf_counter() - begun
    bar = 1.5 if sqlite_module().__name__.startswith("pysqlite3") else 3.0
    return [
        *figures,
        Figure("sqlite3 -csv of the same columns", theirs_s, "s"),
        Figure("sheet over HTTP, ours to sqlite3 -csv", ours_s / theirs_s, "", bar),
    ]


def _fetched(address: str, process: psutil.Process) -> tuple[float, int, int]:
    """Fetch an address; return how long it took, its size, and the most memory that its process took."""
    begun, size, most = time.perf_counter(), 0, 0
    with urlopen(address) as answer:
        while piece := answer.read(PIECE):
            size += len(piece)
            most = max(most, process.memory_info().rss)
    return time.perf_counter() - begun, size, most


def _pages(path: Path, last: int) -> list[Figure]:
    chance, took = random.Random(1), []
    store = open_store(path, kind="demo", clock_us=lambda: AT_US)
    for _ in range(PAGES):
        begun = time.perf_counter()
        with store.reader() as connection:
            queries.readings_after(
                connection, ReadingFilter(), after=chance.randrange(last), up_to=last, limit=1000
            )
        took.append(time.perf_counter() - begun)
    store.close()
    return [Figure(f"page of 1,000 at any depth of {READINGS:,}, p99", _p99_ms(took), "ms", 20)]


def _wide(path: Path) -> list[Figure]:
    store = open_store(path, kind="demo", clock_us=lambda: AT_US)
    cellar = Cellar(store)
    for number in range(SAMPLES):
        cellar.sample(f"S{number}")
    store.close()
    _results(path)
    store = open_store(path, kind="demo", clock_us=lambda: AT_US)
    took, rows = [], 0
    for _ in range(20):
        begun = time.perf_counter()
        sheet = wide_sheet(store.reader, ResultSheetFilter(), None, store_kind="demo")
        rows = b"".join(sheet.text(DIALECTS["standard"])).count(b"\r\n")
        took.append(time.perf_counter() - begun)
    store.close()
    assert rows == SAMPLES + 1
    name = f"wide sheet of {SAMPLES} samples by {len(QUANTITIES)} quantities"
    return [Figure(name, sorted(took)[len(took) // 2] * 1000, "ms", 50)]


def _results(path: Path) -> None:
    """Enter a released result for each sample and quantity, as one ledger entry each."""
    with closing(sqlite_module().connect(path)) as connection:
        (head,) = connection.execute("SELECT max(number) FROM ledger").fetchone()
        samples = connection.execute("SELECT record_id FROM record WHERE kind = 'sample'").fetchall()
        methods = "SELECT record_id FROM record WHERE kind = 'method' LIMIT 1"
        (method,) = connection.execute(methods).fetchone()
        wanted = [(sample, quantity) for (sample,) in samples for quantity in QUANTITIES]
        last = head + len(wanted)
        connection.execute(_LEDGER, {"first": head + 1, "last": last, "at": AT_US})
        connection.executemany(
            "INSERT INTO result (number, sample_id, quantity, method_id, method_version, instrument, at_us, "
            "outcome, value_numeral, value, unit, formula, inputs, hand, software_version) VALUES "
            "(?, ?, ?, ?, 1, 'x', ?, 'value', '3.41', 3.41, 'mg/L', 'as_read/1', '{}', 0, '0')",
            [
                (number, sample, quantity, method, AT_US)
                for number, (sample, quantity) in enumerate(wanted, start=head + 1)
            ],
        )
        for table, columns in (("standing", "'good', '[]'"), ("release", "'released'")):
            connection.execute(f"INSERT INTO {table} SELECT number, 0, number, {columns} FROM result")
        connection.commit()


def _p99_ms(took: list[float]) -> float:
    return sorted(took)[int(len(took) * 0.99)] * 1000

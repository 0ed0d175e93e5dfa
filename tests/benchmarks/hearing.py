"""How fast what is heard becomes a committed row, in the shipped configuration.

The daemon, the simulated lines and the observer are processes of their own. The observer asks the store for
the head of its ledger all the time, so a row counts as committed only when somebody else can read it.
"""

import os
import subprocess
import sys
import tempfile
import time
from bisect import bisect_left
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import psutil

from simulators.wirelog import read_log
from storage.connect import sqlite_module
from tests.benchmarks.processor import Processor
from tests.benchmarks.report import Figure
from tests.integration.bench_run import (
    LIMIT_S,
    Daemon,
    config_text,
    daemon,
    free_port,
    line_of,
    simulators,
    until,
)

LINES = 64
RATE_HZ = 20.0
FRAMES = 400
SATURATED_LINES = 16
SATURATED_S = 8.0


class Observer:
    """Notes when each ledger number could first be read by another process."""

    def __init__(self, store: Path) -> None:
        self._database = sqlite_module().connect(f"file:{store}?mode=ro", uri=True)
        self.numbers: list[int] = []
        self.seen_at_us: list[int] = []

    def look(self) -> int:
        """Read the head; return it."""
        (number,) = self._database.execute("SELECT max(number) FROM ledger").fetchone()
        if not self.numbers or number > self.numbers[-1]:
            self.numbers.append(number)
            self.seen_at_us.append(time.time_ns() // 1000)
        return int(number)

    def readings(self) -> dict[tuple[str, str], int]:
        """Return the revision of each frame's reading, by instrument and sequence."""
        rows = self._database.execute("SELECT instrument, sequence, number FROM reading")
        return {(instrument, sequence): number for instrument, sequence, number in rows}

    def count(self) -> int:
        """Return how many readings there are."""
        (count,) = self._database.execute("SELECT count(*) FROM reading").fetchone()
        return int(count)

    def committed_us(self, number: int) -> int:
        """Return when a number was first seen. [µs]"""
        return self.seen_at_us[bisect_left(self.numbers, number)]


def percentile(values: list[float], share: float) -> float:
    """Return the value below which a share of the values lies."""
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


@contextmanager
def bench_daemon(
    folder: Path, ports: list[dict[str, object]], serves: Callable[[], bool] | None = None
) -> Iterator[Daemon]:
    """Run the daemon on these ports; the block begins when it serves, or when `serves` says that it does."""
    with daemon_on(folder, [line_of(one) for one in ports], as_installed(folder), serves) as running:
        yield running


@contextmanager
def daemon_on(
    folder: Path,
    lines: list[dict[str, Any]],
    environment: dict[str, str],
    serves: Callable[[], bool] | None = None,
) -> Iterator[Daemon]:
    """Run the daemon on these lines, in an environment."""
    port = free_port()
    config = folder / "tundish.toml"
    config.write_text(config_text(port, lines), encoding="utf-8")
    with daemon(config, port, environment, serves) as running:
        yield running


def as_installed(folder: Path) -> dict[str, str]:
    """Return an environment in which the program finds itself compiled from its second start on.

    An installation is so; a tree of sources, on a machine that may be told to keep nothing compiled, is not.
    """
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return environment | {"PYTHONPYCACHEPREFIX": str(folder / "compiled")}


def latency() -> list[Figure]:
    """Measure 64 lines at 20 frames a second each."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = folder / "wire.jsonl"
        # The daemon makes its store, then waits for the ports, so that no frame is sent to nobody.
        arguments = [
            "lines",
            "--lines",
            str(LINES),
            "--rate",
            str(RATE_HZ),
            "--count",
            str(FRAMES),
            "--log",
            str(log),
        ]
        with simulators(folder / "ports", *arguments) as ports, bench_daemon(folder, ports) as running:
            served_us = time.time_ns() // 1000
            observer = Observer(folder / "store.db")
            processor = Processor(running.process.pid)
            watch(observer, processor, LINES * FRAMES)
            return _latency_figures(observer, log, processor, served_us)


def watch(observer: Observer, processor: Processor, wanted: int) -> None:
    """Follow the ledger until it has been still for two seconds."""
    still_since = time.monotonic()
    last = -1
    while time.monotonic() - still_since < 2.0 or observer.count() < wanted * 0.9:
        number = observer.look()
        processor.look()
        if number != last:
            last, still_since = number, time.monotonic()
        if time.monotonic() - still_since > LIMIT_S:
            break
        time.sleep(0.001)  # how finely the figures are resolved


class Compared(NamedTuple):
    """What was put on the wire, held against what was kept, and when."""

    begin_us: int
    last_us: int
    put: int
    missing: int
    waits_ms: list[float]

    @property
    def per_s(self) -> float:
        """Frames put on the wire. [1/s]"""
        return self.put / ((self.last_us - self.begin_us) / 1e6)


def compare(observer: Observer, log: Path, served_us: int) -> Compared:
    """Compare what was put on the wire with what was kept, and when.

    The stretch begins when every line is heard and the start is over, which the daemon hears through while it
    still loads its pages; nothing may be lost from the first frame on that was heard of a line.
    """
    kept = observer.readings()
    put = [
        (entry["utc_us"], _key(entry)) for entry in read_log(log) if entry["kind"] == "put" and entry["hex"]
    ]
    heard_first: dict[str, int] = {}
    for at_us, key in put:
        if key in kept:
            heard_first.setdefault(key[0], at_us)
    begin_us = max(served_us, *heard_first.values())
    missing = sum(key not in kept and at_us > heard_first[key[0]] for at_us, key in put)
    steady = [(at_us, key) for at_us, key in put if at_us > begin_us]
    waits_ms = [(observer.committed_us(kept[key]) - at_us) / 1000 for at_us, key in steady if key in kept]
    return Compared(begin_us, steady[-1][0], len(steady), missing, waits_ms)


def _latency_figures(observer: Observer, log: Path, processor: Processor, served_us: int) -> list[Figure]:
    """Return how long frames waited; the shares of the processors are those of the same stretch."""
    found = compare(observer, log, served_us)
    shares = processor.between(found.begin_us, found.last_us)
    return [
        Figure("64 lines: last byte to committed row, p50", percentile(found.waits_ms, 0.5), "ms"),
        Figure("64 lines: last byte to committed row, p99", percentile(found.waits_ms, 0.99), "ms", 50),
        Figure("64 lines: frames compared", len(found.waits_ms), "frames"),
        Figure("64 lines: frames lost while heard", found.missing, "frames", 0),
        Figure("64 lines: frames put on the wire", found.per_s, "1/s"),
        Figure("64 lines: daemon's share of a core", shares.own, "cores", 0.5),
        Figure("64 lines: daemon's time a frame", shares.own / found.per_s * 1e6, "µs"),
        Figure("64 lines: share of programs that do not belong here", shares.others, "cores"),
    ]


def _key(entry: dict[str, Any]) -> tuple[str, str]:
    """Return instrument and sequence of a frame on the wire."""
    return entry["instrument"], bytes.fromhex(entry["hex"]).split(b"|")[1].decode()


def saturated() -> list[Figure]:
    """Measure 16 saturated lines, beside the plain script that a user would write."""
    ours, plain, tuned = _our_rate(), _plain_rate("default"), _plain_rate("WAL")
    return [
        Figure("16 saturated lines: plain script", plain, "rows/s"),
        Figure("16 saturated lines: plain script, told to use a write-ahead log", tuned, "rows/s"),
        Figure("16 saturated lines: tundish", ours, "rows/s"),
        Figure("16 saturated lines: ratio", ours / plain, "times", 5, at_most=False),
        Figure("16 saturated lines: ratio to the tuned script", ours / tuned, "times"),
    ]


def _saturating(folder: Path) -> list[str]:
    return ["lines", "--lines", str(SATURATED_LINES), "--saturate"]


def _our_rate() -> float:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with simulators(folder / "ports", *_saturating(folder)) as ports, bench_daemon(folder, ports):
            observer = Observer(folder / "store.db")
            return _rate(observer.count)


def _plain_rate(journal: str) -> float:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = folder / "plain.db"
        with simulators(folder / "ports", *_saturating(folder)) as ports:
            devices = [str(one["url_or_device"]) for one in ports]
            call = [sys.executable, "-m", "tests.benchmarks.plain_script", str(store), journal, *devices]
            with subprocess.Popen(call, stdin=subprocess.PIPE) as script:
                until("the plain script", store.exists)
                database = sqlite_module().connect(f"file:{store}?mode=ro", uri=True)

                def count() -> int:
                    try:
                        return int(database.execute("SELECT count(*) FROM row").fetchone()[0])
                    except sqlite_module().OperationalError:
                        return 0  # its table is not made yet

                until("its first rows", count)
                rate = _rate(count)
                script.kill()
            return rate


def _rate(count: object) -> float:
    assert callable(count)
    until("the first rows", lambda: count() > 0)
    first, begun = count(), time.monotonic()
    time.sleep(SATURATED_S)  # the measured stretch
    return float((count() - first) / (time.monotonic() - begun))


def at_rest() -> list[Figure]:
    """Measure the start, and the memory and the idle share of a core with 8 silent lines."""
    return [_start(), *_idle()]


def _start() -> Figure:
    """Measure from the start of the program, whose store is made, to a row of what lines say by then."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        arguments = ["lines", "--lines", "8", "--rate", str(RATE_HZ)]
        with simulators(folder / "ports", *arguments) as ports:
            _make_store(folder, ports)
            observer = Observer(folder / "store.db")
            before, begun = observer.count(), time.monotonic()
            with bench_daemon(folder, ports, serves=lambda: observer.count() > before):
                return Figure("start to the first byte accepted", time.monotonic() - begun, "s", 2)


def _idle() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        arguments = ["lines", "--lines", "8", "--rate", "0.001"]
        with simulators(folder / "ports", *arguments) as ports:
            _make_store(folder, ports)  # the program that makes it keeps the migration tool in memory
            with bench_daemon(folder, ports) as running:
                until("all lines open", lambda: _all_open(running))
                process = psutil.Process(running.process.pid)
                process.cpu_percent()
                time.sleep(10)  # the measured stretch
                return [
                    Figure("8 idle lines: resident memory", process.memory_info().rss / 2**20, "MiB", 120),
                    Figure("8 idle lines: share of a core", process.cpu_percent(), "%", 1),
                ]


def _make_store(folder: Path, ports: list[dict[str, object]]) -> None:
    with bench_daemon(folder, ports) as running:
        until("all lines open", lambda: _all_open(running))
        running.stop()


def _all_open(running: Daemon) -> bool:
    return all(line["state"] == "open" for line in running.get("/api/v1/lines")["items"])

"""How long other lines wait beside one whose driver works long for every message."""

import os
import tempfile
import time
from pathlib import Path
from typing import Final

from tests.benchmarks.hearing import Observer, as_installed, compare, daemon_on, percentile, watch
from tests.benchmarks.processor import Processor
from tests.benchmarks.report import Figure
from tests.benchmarks.slow_lines import WORK_S
from tests.integration.bench_run import line_of, simulators

HOUSE: Final = Path(__file__).parents[2]
LINES: Final = 16
RATE_HZ: Final = 20
FRAMES: Final = 300
SLOW_RATE_HZ: Final = 2
BAR_MS: Final = 50


def measure() -> list[Figure]:
    """Measure lines alone, and beside a slow driver, in one run."""
    alone, beside = _p99_ms(slow=False), _p99_ms(slow=True)
    beside_whom = f"{LINES} lines beside a driver that works {WORK_S * SLOW_RATE_HZ:.0%} of the time"
    return [
        Figure(f"{LINES} lines alone: last byte to committed row, p99", alone, "ms"),
        Figure(f"{beside_whom}, p99", beside, "ms", BAR_MS),
    ]


def _p99_ms(*, slow: bool) -> float:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = folder / "wire.jsonl"
        quick = ["--lines", str(LINES), "--rate", str(RATE_HZ), "--count", str(FRAMES), "--log", str(log)]
        slowly = ["--rate", str(SLOW_RATE_HZ), "--count", str(FRAMES // RATE_HZ * SLOW_RATE_HZ)]
        with (
            simulators(folder / "ports", "lines", *quick) as ports,
            simulators(folder / "slow", "lines", *slowly) as slow_ports,
        ):
            lines = [line_of(one) for one in ports]
            if slow:
                lines += [
                    line_of(one) | {"name": "slow", "instrument": "slow", "driver": "slow-lines"}
                    for one in slow_ports
                ]
            with daemon_on(folder, lines, _with_the_slow_driver(folder)) as running:
                served_us = time.time_ns() // 1000
                observer = Observer(folder / "store.db")
                watch(observer, Processor(running.process.pid), LINES * FRAMES)
                return percentile(compare(observer, log, served_us).waits_ms, 0.99)


def _with_the_slow_driver(folder: Path) -> dict[str, str]:
    """Return an environment in which another package brings the slow driver."""
    installed = folder / "installed" / "slow_lines-1.dist-info"
    installed.mkdir(parents=True)
    (installed / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: slow-lines\nVersion: 1\n", encoding="utf-8"
    )
    point = "[tundish.drivers]\nslow-lines = tests.benchmarks.slow_lines:driver\n"
    (installed / "entry_points.txt").write_text(point, encoding="utf-8")
    found = os.pathsep.join([str(installed.parent), str(HOUSE)])
    return as_installed(folder) | {"PYTHONPATH": found}

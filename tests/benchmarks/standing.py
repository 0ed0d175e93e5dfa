"""How long from what a burette says to its result, with its standing, over REST; and what that costs.

A laboratory of 24 methods, a full tray and a check wine. The daemon is a process of its own and the burette
speaks over a pseudo-terminal. The store is watched from outside, so that asking does not slow down what is
asked for: as soon as the standing is there, REST is asked for the result, and its answer ends the time. What
it costs is measured in this process, without hearing: processor time and statements of step 2 an answer.
"""

import asyncio
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import httpx

from bench.intake import Intake
from storage.connect import sqlite_module
from storage.store import open_store
from tests.benchmarks.hearing import percentile
from tests.benchmarks.processor import Processor
from tests.benchmarks.report import Figure
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.laboratory import BURETTE, METHODS, answers, enter_laboratory, frame
from tests.fakes.rest import Rest, rest_on
from tests.fakes.statements import counted
from tests.fakes.terminal import PluggedTerminal
from tests.integration.bench_run import PLAIN, Daemon, config_text, daemon, free_port, until

EVERY_S: Final = 60 / 50
"""50 results a minute. [s]"""
POLL_S: Final = 0.001
"""How finely the figures are resolved. [s]"""
LIMIT_S: Final = 30.0
QUANTITIES: Final = {"F": "free_so2", "T": "total_so2"}


def measure() -> Iterator[Figure]:
    """Measure over the wire, then what it costs."""
    yield from _over_the_wire()
    yield from _cost()


def _over_the_wire() -> Iterator[Figure]:
    with _laboratory() as (running, rest, terminal):
        watched = _Watched(running.log.with_name("store.db"))
        processor = Processor(running.process.pid)
        begun_us, waits_ms = time.time_ns() // 1000, []
        for sequence, (sample, mode, value) in enumerate(answers()):
            put_s = time.monotonic()
            terminal.write(frame(sequence, sample, mode, value))
            watched.wait_for(QUANTITIES[mode], sequence // 2 + 1)
            (newest,) = rest.get("/results", sample=sample, quantity=QUANTITIES[mode])["items"]
            waits_ms.append((time.monotonic() - put_s) * 1e3)
            assert newest["standing"] == "good", newest
            processor.look()
            time.sleep(max(0.0, put_s + EVERY_S - time.monotonic()))
        shares = processor.between(begun_us, time.time_ns() // 1000)
    waits_ms.sort()
    name = f"heard to result with standing over REST, {METHODS} methods"
    yield Figure(f"{name}, p50", percentile(waits_ms, 0.5), "ms")
    yield Figure(f"{name}, p99", percentile(waits_ms, 0.99), "ms", 150)
    yield Figure(f"{name}, slowest of {len(waits_ms)}", waits_ms[-1], "ms")
    yield Figure("  daemon's processor time a result", shares.own * EVERY_S * 1e3, "ms")
    yield Figure("  share of programs that do not belong here", shares.others, "cores")


class _Watched:
    """Looks into the store of the daemon from outside."""

    def __init__(self, store: Path) -> None:
        self._database = sqlite_module().connect(f"file:{store}?mode=ro", uri=True)

    def wait_for(self, quantity: str, count: int) -> None:
        """Wait until so many results of a quantity stand."""
        deadline = time.monotonic() + LIMIT_S
        while self._count(quantity) < count:
            assert time.monotonic() < deadline, f"no {quantity} within {LIMIT_S:g} s"
            time.sleep(POLL_S)

    def _count(self, quantity: str) -> int:
        asked = self._database.execute(
            "SELECT count(DISTINCT result_id) FROM result JOIN standing ON result_id = result.number"
            " WHERE quantity = ? AND NOT hand",
            [quantity],
        )
        (count,) = asked.fetchone()
        return int(count)


@contextmanager
def _laboratory() -> Iterator[tuple[Daemon, Rest, PluggedTerminal]]:
    """Run a daemon that hears one burette, with the laboratory entered."""
    with tempfile.TemporaryDirectory() as name, asyncio.Runner() as runner:
        folder, port = Path(name), free_port()
        terminal = PluggedTerminal(folder / "port")
        terminal.plug()
        line = {"name": "so2", "kind": "serial", "device": str(terminal.path)}
        config = folder / "tundish.toml"
        config.write_text(config_text(port, [line | {"instrument": BURETTE, "driver": "so2-burette"}]))
        with daemon(config, port) as running:
            client = httpx.AsyncClient(base_url=running.url, timeout=LIMIT_S, verify=PLAIN)
            rest = Rest(runner, client, [time.time_ns() // 1000])
            enter_laboratory(rest)
            until("the line to open", lambda: rest.get("/lines")["items"][0]["state"] == "open")
            yield running, rest, terminal
            runner.run(client.aclose())
            running.stop()
        terminal.unplug()


def _cost() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory() as name:
        store = open_store(Path(name) / "bench.db", kind="real", clock_us=lambda: NOON_US)
        with rest_on(store) as rest:
            enter_laboratory(rest)
        filler = Filler(store, at_us=NOON_US + 300_000_000)
        burette = filler.open("so2", BURETTE)
        intake = Intake(store, lambda: filler.at_us, "tundish")
        asked, used_s = 0, 0.0
        for sample, mode, value in answers():
            volume = Answer("dispensed_volume", "2.31", "mL", sample=sample, mode=mode)
            answer = Answer(QUANTITIES[mode], f"{value:.1f}", "mg/L", sample=sample, mode=mode)
            filler.hear(burette, b"R|", [volume, answer])
            begun = time.process_time()
            with counted() as statements:
                while intake.step():
                    pass
            used_s += time.process_time() - begun
            asked += statements.total()
        store.close()
    count = len(answers())
    yield Figure("  step 2: statements an answer of the burette", asked / count, "")
    yield Figure("  step 2: processor time an answer of the burette", used_s / count * 1e3, "ms")

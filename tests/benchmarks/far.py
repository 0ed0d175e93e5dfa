"""A far bench and whoever collects it: how soon a frame is a committed row, and how fast a backlog goes.

Two daemons, a broker and an observer are processes of their own; the broker is set up as by `docs/broker.md`.
"""

import asyncio
import tempfile
import time
from pathlib import Path
from typing import Any, Final

import psutil

from acquire.accounting import Account
from acquire.decoding import decode
from acquire.drivers.data_only import factory_from_path
from acquire.events import Instant
from acquire.registry import SHIPPED_FOLDER
from acquire.sink import Chunk, Hearing, Opening
from simulators.numbered_lines import frame
from simulators.wirelog import read_log
from storage.queries.publishing import CAPTURES_PLACE, Place, note_place
from storage.store import open_store
from storage.transaction import Transaction
from tests.benchmarks.hearing import Observer, percentile
from tests.benchmarks.report import Figure
from tests.integration.bench_run import LIMIT_S, Daemon, simulators, until
from tests.integration.far_benches import LINE, Benches, benches
from tests.services import mosquitto
from tests.services.mosquitto import Mosquitto
from tundish.store_sink import StoreSink

LINES: Final = 4
RATE_HZ: Final = 50.0  # of each line, so 200 together [1/s]
FRAMES: Final = 1_000  # of each line
BACKLOG: Final = 100_000  # [frames]
TOGETHER: Final = 500  # frames of the backlog put into the store in one commit
LOOK_S: Final = 0.002  # how finely the waits are resolved [s]
COUNT_S: Final = 0.2  # how finely the end of the backlog is resolved [s]
BEGUN_US: Final = 1_759_492_800_000_000  # 2025-10-03T12:00:00Z, when the backlog begins [µs]
STEP_US: Final = 5_000  # between two frames of it [µs]
AS_DOCUMENTED: Final = (
    "persistence true",
    "autosave_on_changes true",
    "autosave_interval 1",
    "max_queued_messages 0",
    "max_queued_bytes 0",
)


def measure() -> list[Figure]:
    """Return the figures; none on a machine without a broker."""
    if mosquitto.program() is None:
        return []
    return [*_latency(), *_backlog()]


def _latency() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = folder / "wire.jsonl"
        arguments = ["--lines", str(LINES), "--rate", str(RATE_HZ), "--count", str(FRAMES), "--log", str(log)]
        broker = Mosquitto(folder / "broker", settings=AS_DOCUMENTED)
        broker.start()
        try:
            with simulators(folder / "ports", "lines", *arguments) as ports:
                both = benches(folder, broker, ports)
                with both.near_daemon() as near:
                    until("the lines of the collector", lambda: _all_open(near, LINES))
                    with both.far_daemon():
                        observer = Observer(folder / "near.db")
                        _watch(observer)
                        return _waits(observer, log)
        finally:
            broker.kill()


def _all_open(near: Daemon, lines: int) -> bool:
    states = [line["state"] for line in near.get("/api/v1/lines")["items"]]
    return len(states) == lines and set(states) == {"open"}


def _watch(observer: Observer) -> None:
    """Follow the ledger until every line came to its last frame, or nothing comes any more."""
    last, still_since = -1, time.monotonic()
    while observer.count() < LINES * FRAMES * 0.9 or time.monotonic() - still_since < 2.0:
        number = observer.look()
        if number != last:
            last, still_since = number, time.monotonic()
        if time.monotonic() - still_since > LIMIT_S:
            break
        time.sleep(LOOK_S)


def _waits(observer: Observer, log: Path) -> list[Figure]:
    """Compare what was put on the wire with what the collector kept, once every line has come there."""
    kept = observer.readings()
    put = [
        (entry["utc_us"], _key(entry)) for entry in read_log(log) if entry["kind"] == "put" and entry["hex"]
    ]
    come_us: dict[str, int] = {}
    for at_us, key in put:
        if key in kept:
            come_us.setdefault(key[0], max(at_us, observer.committed_us(kept[key])))
    begin_us = max(come_us.values())
    steady = [(at_us, key) for at_us, key in put if at_us > begin_us]
    waits_ms = [(observer.committed_us(kept[key]) - at_us) / 1000 for at_us, key in steady if key in kept]
    per_s = len(steady) / ((steady[-1][0] - begin_us) / 1e6)
    name = "far bench to a committed row of the collector"
    return [
        Figure(f"{name}, p50", percentile(waits_ms, 0.5), "ms"),
        Figure(f"{name}, p99", percentile(waits_ms, 0.99), "ms", 200),
        Figure("far bench: frames compared", len(waits_ms), "frames"),
        Figure("far bench: frames put on the wire", per_s, "1/s"),
        Figure("far bench: frames that did not come", len(steady) - len(waits_ms), "frames", 0),
    ]


def _key(entry: dict[str, Any]) -> tuple[str, str]:
    """Return the collector's instrument and the sequence of a frame on the wire."""
    return f"north-{entry['instrument']}", bytes.fromhex(entry["hex"]).split(b"|")[1].decode()


def _backlog() -> list[Figure]:
    """Let a far bench that was alone for long come back to its broker."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder / "broker", settings=AS_DOCUMENTED)
        broker.start()
        try:
            both = benches(folder, broker, [_silent_port()])
            asyncio.run(_hear_alone(folder / "far.db"))
            return _drained(both, folder)
        finally:
            broker.kill()


def _silent_port() -> dict[str, Any]:
    """Return the line of the backlog, at a port where nobody is any more."""
    settings = {"baudrate": 9600}
    return {
        "instrument": LINE,
        "driver": "load-lines",
        "url_or_device": "socket://127.0.0.1:9",
        "settings": settings,
    }


async def _hear_alone(path: Path) -> None:
    """Fill the store of a far bench with readings that no broker has heard of."""
    store = open_store(path, kind="real", clock_us=lambda: BEGUN_US)
    session = store.begin_session("0", "", BEGUN_US)
    store.writer.submit(lambda tx: _nothing_published(tx, session)).result(LIMIT_S)
    factory = factory_from_path(SHIPPED_FOLDER / "load-lines.toml")
    at = Instant(BEGUN_US, 0)
    sink = StoreSink(store.writer, session, {})
    opening = Opening(LINE, LINE, factory.identity, "memory", "", at)
    capture, account = await sink.opened(opening), Account(factory)
    for first in range(1, BACKLOG + 1, TOGETHER):
        await capture.heard(*(_frame(account, number) for number in range(first, first + TOGETHER)))
    store.close()


def _frame(account: Account, number: int) -> Hearing:
    at = Instant(BEGUN_US + number * STEP_US, number * STEP_US * 1000)
    chunks = (Chunk(at, frame(number, 28.4)),)
    return Hearing(chunks, tuple(decode(account, chunks, at)), at)


def _nothing_published(tx: Transaction, session: int) -> None:
    tx.set_position(CAPTURES_PLACE, session)
    note_place(tx, Place(session, 0))


def _drained(both: Benches, folder: Path) -> list[Figure]:
    """Follow the frames until they are rows of the collector, from the first to the last."""
    with both.near_daemon() as near:
        until("the line of the collector", lambda: _all_open(near, 1))
        observer = Observer(folder / "near.db")
        with both.far_daemon() as far:
            first, begun = until("the first frames", observer.count), time.monotonic()
            before_s = [_used_s(one) for one in (far, near)]
            while observer.count() < BACKLOG:
                time.sleep(COUNT_S)
            took_s, frames = time.monotonic() - begun, BACKLOG - first
            used_s = [_used_s(one) - before for one, before in zip((far, near), before_s, strict=True)]
    name = "far bench: backlog of captures and readings"
    return [
        Figure(f"{name}, drained", frames / took_s, "frames/s", 3000, at_most=False),
        Figure(f"{name}, its processor time", used_s[0] / frames * 1e6, "µs/frame"),
        Figure(f"{name}, the collector's", used_s[1] / frames * 1e6, "µs/frame"),
    ]


def _used_s(daemon: Daemon) -> float:
    times = psutil.Process(daemon.process.pid).cpu_times()
    return float(times.user + times.system)

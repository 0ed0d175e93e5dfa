"""The daemon and instruments that hold a conversation, on real pseudo-terminals."""

import contextlib
import random
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from simulators.wirelog import read_log
from storage.backup import verify_file
from tests.integration.bench_run import (
    LIMIT_S,
    Daemon,
    SimulatedBench,
    config_text,
    daemon,
    free_port,
    line_of,
    simulated_bench,
    until,
)

pytestmark = pytest.mark.needs("pseudo-terminals")

KILLS = 3
SOAK_KILLS = 40


def readings(running: Daemon, **query: Any) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = running.get("/api/v1/readings", limit=1000, **query)["items"]
    return items


def line(running: Daemon) -> dict[str, Any]:
    [item] = running.get("/api/v1/lines")["items"]
    return dict(item)


@contextlib.contextmanager
def bench(folder: Path, kind: str, *more: str) -> Iterator[tuple[SimulatedBench, Path, int]]:
    """Run one instrument, and write the configuration of its line."""
    key = str(folder / "key.jsonl")
    with simulated_bench(folder / "ports", kind, "--port", str(folder / "port"), "--log", key, *more) as one:
        port = free_port()
        config = folder / "tundish.toml"
        config.write_text(config_text(port, [line_of(one.instruments[0])]), encoding="utf-8")
        yield one, config, port


def test_an_analyser_is_heard_acknowledged_and_forgets(tmp_path: Path) -> None:
    with (
        bench(tmp_path, "lis-analyser", "--speed", "60") as (_, config, port),
        daemon(config, port) as running,
    ):
        found = until("two messages", lambda: _at_least(6, readings(running)))
        assert running.stop() == 0
    assert {one["quantity"] for one in found} == {"free_so2", "total_so2", "ph"}
    shown = _shown(tmp_path / "key.jsonl")
    for one in found:
        message = shown[int(one["sequence"].split("/")[0])]
        assert one["value_text"] == message[_CODES[one["quantity"]]]
    assert verify_file(tmp_path / "store.db").in_order


_CODES = {"free_so2": "FSO2", "total_so2": "TSO2", "ph": "PH"}


def _at_least(count: int, found: list[dict[str, Any]]) -> list[dict[str, Any]] | None:
    return found if len(found) >= count else None


def _shown(key: Path) -> dict[int, dict[str, str]]:
    """Return what each acknowledged message said, by its id."""
    meanings = [entry["meaning"] for entry in read_log(key) if entry["meaning"]]
    return {one["message"]: one["shown"] for one in meanings if one.get("acknowledged")}


@pytest.mark.parametrize("kills", [KILLS, pytest.param(SOAK_KILLS, marks=pytest.mark.soak)])
def test_a_kill_amid_a_transfer_loses_no_acknowledged_message_and_doubles_none(
    tmp_path: Path, kills: int
) -> None:
    rng = random.Random(20251006)  # a fixed seed: the moments differ from machine to machine all the same
    with bench(tmp_path, "lis-analyser", "--speed", "100") as (_, config, port):
        for _ in range(kills):
            with daemon(config, port) as running:
                _wait_for_frames(tmp_path / "key.jsonl", rng.randrange(2, 14))
                running.kill()
        with daemon(config, port) as running:
            last = max(_shown(tmp_path / "key.jsonl"), default=0) + 1
            until("one more message", lambda: last in _shown(tmp_path / "key.jsonl") or None)
            until("step 2", lambda: _all_are_taken(tmp_path / "store.db") or None)
            assert running.stop() == 0
    counted = _counted(tmp_path / "store.db")
    acknowledged = _shown(tmp_path / "key.jsonl")
    assert set(acknowledged) <= set(counted)
    for number, shown in acknowledged.items():
        assert sorted(counted[number]) == sorted(shown.values()), f"message {number}"
    assert verify_file(tmp_path / "store.db").in_order


def _wait_for_frames(key: Path, more: int) -> None:
    wanted = _frames_out(key) + more
    until("some frames", lambda: _frames_out(key) >= wanted or None)


def _frames_out(key: Path) -> int:
    entries = read_log(key) if key.exists() else []
    return sum(
        entry["kind"] == "put" and (entry["meaning"] or {}).get("kind") == "frame" for entry in entries
    )


def _kept(path: Path) -> list[tuple[str, str, int | None, int | None]]:
    """Return sequence, text, the number of the taking, and what it repeats, of every reading that is kept."""
    query = (
        "SELECT reading.sequence, reading.value_text, taken.number, taken.repeat_of "
        "FROM reading LEFT JOIN taken ON taken.reading_number = reading.number"
    )
    with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        return connection.execute(query).fetchall()


def _all_are_taken(path: Path) -> bool:
    return all(taken is not None for _, _, taken, _ in _kept(path))


def _counted(path: Path) -> dict[int, list[str]]:
    """Return the values of each message, those left out that were heard before."""
    counted: dict[int, list[str]] = {}
    for sequence, text, _, repeat_of in _kept(path):
        if repeat_of is None:
            counted.setdefault(int(sequence.split("/")[0]), []).append(text)
    return counted


DOOMED = """
import os, signal
from acquire.lines.serial_line import SerialLine
from acquire.sink import Direction
from tundish.store_sink import StoreCapture

came, keep, reply = bytearray(), StoreCapture.heard, SerialLine.send

def die_at(moment):
    if moment == {moment!r} and {record!r} in came:
        os.kill(os.getpid(), signal.SIGKILL)

async def keeping(self, hearing):
    came.extend(b"".join(chunk.data for chunk in hearing.chunks if chunk.direction is Direction.HEARD))
    die_at("before the commit")
    await keep(self, hearing)

async def replying(self, data):
    die_at("before the reply")
    await reply(self, data)

StoreCapture.heard, SerialLine.send = keeping, replying
from tundish.cli import main
main()
"""
SECOND_RESULT, LAST_RECORD = b"R|2|", b"L|1"


@pytest.mark.parametrize(
    ("moment", "record", "heard_twice"),
    [
        pytest.param("before the commit", SECOND_RESULT, False, marks=pytest.mark.soak),
        ("before the commit", LAST_RECORD, False),
        pytest.param("before the reply", SECOND_RESULT, False, marks=pytest.mark.soak),
        ("before the reply", LAST_RECORD, True),
    ],
)
def test_a_death_between_hearing_commit_and_reply_costs_nothing(
    tmp_path: Path, moment: str, record: bytes, heard_twice: bool
) -> None:
    """What was not acknowledged is not forgotten; what was kept already is known when it comes again."""
    doomed = DOOMED.format(moment=moment, record=record)
    with bench(tmp_path, "lis-analyser", "--speed", "60") as (_, config, port):
        call = [sys.executable, "-c", doomed, "run", "--config", str(config)]
        log = tmp_path / "doomed.log"
        with log.open("wb") as sink:
            died = subprocess.run(call, stdout=sink, stderr=sink, timeout=LIMIT_S, check=False)
        assert died.returncode == -signal.SIGKILL, log.read_text(encoding="utf-8")
        assert _shown(tmp_path / "key.jsonl") == {}
        with daemon(config, port) as running:
            until("the first message", lambda: 1 in _shown(tmp_path / "key.jsonl") or None)
            until("step 2", lambda: _all_are_taken(tmp_path / "store.db") or None)
            assert running.stop() == 0
    kept = [sequence for sequence, *_ in _kept(tmp_path / "store.db") if sequence.startswith("000001/")]
    assert len(kept) == (6 if heard_twice else 3)
    assert sorted(_counted(tmp_path / "store.db")[1]) == sorted(_shown(tmp_path / "key.jsonl")[1].values())


def test_a_damaged_frame_is_asked_for_again(tmp_path: Path) -> None:
    faults = [word for second in (1, 2, 3, 4) for word in ("--fault", f"flipped_bit@{second}")]
    one = bench(tmp_path, "lis-analyser", "--speed", "60", *faults)
    with one as (_, config, port), daemon(config, port) as running:
        found = until("two messages", lambda: _at_least(6, readings(running)))
        assert line(running)["frames_refused"] > 0
        assert running.stop() == 0
    shown = _shown(tmp_path / "key.jsonl")
    assert all(
        one["value_text"] == shown[int(one["sequence"].split("/")[0])][_CODES[one["quantity"]]]
        for one in found
        if int(one["sequence"].split("/")[0]) in shown
    )


def test_a_device_is_asked_for_its_registers(tmp_path: Path) -> None:
    with bench(tmp_path, "oxygen-probe") as (one, config, port), daemon(config, port) as running:
        found = until("a reading", lambda: readings(running, quantity="dissolved_oxygen"))
        assert float(found[0]["value"]) == pytest.approx(8.0, abs=0.2)
        one.tell("fault do-1 fouled_probe")
        until(
            "no temperature",
            lambda: [
                one for one in readings(running, quantity="temperature") if one["outcome"] == "no_value"
            ],
        )
        one.tell("fault do-1 exception")
        until("an error", lambda: [one for one in readings(running) if one["outcome"] == "instrument_error"])
        assert running.stop() == 0


def test_a_meter_is_asked_who_it_is_and_then_what_it_measures(tmp_path: Path) -> None:
    with bench(tmp_path, "query-meter") as (one, config, port), daemon(config, port) as running:
        found = until("a reading", lambda: readings(running, quantity="ph"))
        assert found[0]["unit"] == "pH"
        one.tell("fault ph-2 slow_answers 3")
        until("an answer that came too late", lambda: line(running)["frames_refused"])
        one.tell("fault ph-2 another_serial 3")
        state = until("the other instrument", lambda: _in_state(running, "unrecognised"))
        assert "calls itself 'SIMULATED,BENCH-PH,0043,1.3'" in state["why"]
        before = len(readings(running))
        until("the right instrument", lambda: _in_state(running, "open"))
        until("its readings", lambda: len(readings(running)) > before or None)
        assert running.stop() == 0


def _in_state(running: Daemon, state: str) -> dict[str, Any] | None:
    now = line(running)
    return now if now["state"] == state else None


def test_a_balance_is_asked_and_a_silent_one_is_said_to_be_silent(tmp_path: Path) -> None:
    with bench(tmp_path, "asked-balance") as (one, config, port), daemon(config, port) as running:
        until("a reading", lambda: readings(running, quantity="mass"))
        one.tell("fault bal-1 silence 30")
        until("a word on its silence", lambda: "said nothing" in line(running)["why"] or None)
        assert running.stop() == 0


@pytest.mark.parametrize(("kind", "quantity"), [("button-balance", "mass"), ("acid-burette", "ta_ph_8_2")])
def test_instruments_that_push_are_heard_too(tmp_path: Path, kind: str, quantity: str) -> None:
    with bench(tmp_path, kind, "--speed", "30") as (_, config, port), daemon(config, port) as running:
        until("a reading", lambda: readings(running, quantity=quantity))
        assert running.stop() == 0

"""Bytes on a real wire become rows in a spreadsheet, whatever happens in between."""

import csv
import io
import random
import shutil
import signal
import subprocess
from pathlib import Path
from typing import Any

import httpx
import pytest

from simulators.wirelog import bytes_put, read_log
from storage.backup import verify_file
from storage.queries import ReadingFilter, captures_before, chunks_after, gaps_before, readings_after
from storage.store import Store, open_store
from tests.integration.bench_run import (
    Daemon,
    config_text,
    daemon,
    line_of,
    simulators,
    until,
    write_config,
)

pytestmark = pytest.mark.needs("pseudo-terminals")

KILLS = 10
SOAK_KILLS = 50
EVERYTHING = 2**62


def readings(running: Daemon, **query: Any) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = running.get("/api/v1/readings", limit=1000, **query)["items"]
    return items


def heard(store: Store, line: str) -> list[bytes]:
    """Return the heard bytes of each capture of a line, oldest first."""
    with store.reader() as connection:
        captures = captures_before(connection, before=None, limit=1000, line=line)
        return [
            b"".join(chunk.data for chunk in chunks_after(connection, one.number, after=0, limit=10**6))
            for one in reversed(captures)
        ]


def test_a_simulated_burette_becomes_rows_of_a_sheet(tmp_path: Path) -> None:
    with simulators(tmp_path / "ports", "bench", "--speed", "60") as instruments:
        config, port = write_config(tmp_path, [line_of(one) for one in instruments])
        with daemon(config, port) as running:
            results = until("a result", lambda: readings(running, quantity="free_so2"))
            text = httpx.get(f"{running.url}/sheets/readings.csv", params={"quantity": "free_so2"}).text
            assert running.stop() == 0
    first = next(csv.DictReader(io.StringIO(text)))
    assert first["value"] == results[0]["value_text"]
    assert (first["unit"], first["instrument"]) == ("mg/L", "bur-1")
    assert verify_file(tmp_path / "store.db").in_order


@pytest.mark.parametrize("kills", [KILLS, pytest.param(SOAK_KILLS, marks=pytest.mark.soak)])
def test_what_was_acknowledged_survives_any_kill(tmp_path: Path, kills: int) -> None:
    rng = random.Random(20251006)  # a fixed seed: the moments differ from machine to machine all the same
    log = tmp_path / "wire.jsonl"
    seen: set[int] = set()
    with simulators(tmp_path / "ports", "lines", "--lines", "2", "--rate", "100", "--log", str(log)) as ports:
        config, port = write_config(tmp_path, [line_of(one) for one in ports])
        for _ in range(kills):
            with daemon(config, port) as running:
                more = len(seen) + rng.randrange(1, 60)
                _see_at_least(more, running, seen)
                running.kill()
        with daemon(config, port) as running:
            assert running.stop() == 0
    _compare_with_the_key(tmp_path / "store.db", log, seen, kills)


def _see_at_least(count: int, running: Daemon, seen: set[int]) -> None:
    until("more readings", lambda: _see(running, seen) >= count)


def _see(running: Daemon, seen: set[int]) -> int:
    since = max(seen, default=0)
    seen.update(item["revision"] for item in readings(running, since=since))
    return len(seen)


def _compare_with_the_key(path: Path, log: Path, seen: set[int], kills: int) -> None:
    assert verify_file(path).in_order
    store = open_store(path, kind="real", clock_us=lambda: 0)
    try:
        with store.reader() as connection:
            kept = readings_after(connection, ReadingFilter(), after=0, up_to=EVERYTHING, limit=10**6)
            gaps = gaps_before(connection, before=None, limit=1000)
        assert seen <= {one.number for one in kept}
        for line in ("line-000", "line-001"):
            _assert_only_gaps_are_lost(
                heard(store, line), log, line, [one for one in gaps if one.line == line]
            )
    finally:
        store.close()


def _assert_only_gaps_are_lost(captures: list[bytes], log: Path, line: str, gaps: list[Any]) -> None:
    """Each capture is a piece of the wire as it was, in order; what lies between was sent during a gap."""
    wire = bytes_put(log, line)
    place, lost = 0, []
    for capture in captures:
        found = wire.find(capture, place)
        assert found >= place, f"a capture of {line} is not on the wire"
        lost.append((place, found))
        place = found + len(capture)
    moments = _moments(log, line)
    for begin, end in lost[1:]:
        for offset, at_us in moments:
            inside = begin <= offset < end
            assert not inside or any(gap.begin_us <= at_us <= gap.end_us for gap in gaps)


def _moments(log: Path, line: str) -> list[tuple[int, int]]:
    offset, moments = 0, []
    for entry in read_log(log):
        if entry["instrument"] == line and entry["kind"] == "put":
            moments.append((offset, entry["utc_us"]))
            offset += len(entry["hex"]) // 2
    return moments


def test_a_line_is_added_while_the_others_run(tmp_path: Path) -> None:
    with simulators(tmp_path / "ports", "lines", "--lines", "2", "--rate", "20") as ports:
        config, port = write_config(tmp_path, [line_of(ports[0])])
        with daemon(config, port) as running:
            until("the first line", lambda: readings(running, line="line-000"))
            config.write_text(config_text(port, [line_of(one) for one in ports]), encoding="utf-8")
            running.process.send_signal(signal.SIGHUP)
            until("the second line", lambda: readings(running, line="line-001"))
            captures = running.get("/api/v1/captures", line="line-000")["items"]
            assert len(captures) == 1  # the first line did not notice


def test_a_half_frame_at_the_stop_is_kept_as_partial(tmp_path: Path) -> None:
    capture = tmp_path / "half.bin"
    capture.write_bytes(b"N|00000001|28.500|mg/L\r\nN|00000002|28.5")
    line = {
        "name": "old",
        "kind": "capture-file",
        "path": str(capture),
        "instrument": "x",
        "driver": "load-lines",
    }
    config, port = write_config(tmp_path, [line])
    with daemon(config, port) as running:
        (found,) = until("the capture", lambda: _ended(running))
        frames = running.get(f"/api/v1/captures/{found['capture_id']}/frames")["items"]
        assert [frame["outcome"] for frame in frames][-1] == "refused"
        assert frames[-1]["reason"] == "partial"
        data = httpx.get(f"{running.url}/api/v1/captures/{found['capture_id']}/bytes").content
    assert data == capture.read_bytes()


def _ended(running: Daemon) -> list[dict[str, Any]]:
    return [one for one in running.get("/api/v1/captures")["items"] if one["ended_at"]]


@pytest.mark.needs("socat")
def test_a_strange_program_on_a_pseudo_terminal_is_read_by_a_driver_file(tmp_path: Path) -> None:
    port_path = tmp_path / "ttyX"
    driver = tmp_path / "meter.toml"
    driver.write_text(STRANGE_DRIVER, encoding="utf-8")
    line = {
        "name": "x",
        "kind": "serial",
        "device": str(port_path),
        "instrument": "x-1",
        "driver": str(driver),
    }
    config, port = write_config(tmp_path, [line])
    socat = [shutil.which("socat") or "socat", f"PTY,link={port_path},raw,echo=0", "STDIO"]
    with (
        subprocess.Popen(socat, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL) as wire,
        daemon(config, port) as running,
    ):
        assert wire.stdin is not None
        until("the line to be open", lambda: running.get("/api/v1/lines")["items"][0]["state"] == "open")
        wire.stdin.write(b"\r\nT1;7,250;NTU\r\nT2;----;NTU\r\n")
        wire.stdin.flush()
        found = until("two readings", lambda: _exactly(2, readings(running)))
        wire.stdin.close()
    assert [(one["sample"], one["outcome"], one["value_text"]) for one in found] == [
        ("T1", "value", "7,250"),
        ("T2", "no_value", "----"),
    ]


def _exactly(count: int, items: list[dict[str, Any]]) -> list[dict[str, Any]] | None:
    return items if len(items) == count else None


STRANGE_DRIVER = r"""
name = "meter"
version = "1"

[framing]
ends = ['\r\n']

[numbers]
decimal = ","

[tokens]
no_value = ["----"]

[delimited]
separator = ";"

[[delimited.records]]
columns = [
    { kind = "sample" },
    { kind = "value", quantity = "turbidity", units = ["NTU"] },
    { kind = "unit" },
]

[[examples]]
raw = 'T1;7,250;NTU\r\n'
expect = [{ quantity = "turbidity", value = "7.250", unit = "NTU", sample = "T1" }]
"""

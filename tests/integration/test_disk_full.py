"""A disk that is really full: a small file system of its own, filled by somebody else's file."""

import contextlib
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from storage.backup import verify_file
from storage.queries import captures_before, chunks_after
from storage.store import open_store
from tests.fakes.terminal import PluggedTerminal
from tests.integration.bench_run import (
    Daemon,
    config_text,
    daemon,
    free_port,
    line_of,
    refused,
    simulators,
    until,
    wire_bytes,
)

pytestmark = pytest.mark.needs("pseudo-terminals", "small disks")

SMALL_MIB = 48
"""Too small for the ballast, so that only what is full and what waits counts. [MiB]"""
WITH_BALLAST_MIB = 100
"""Room for the ballast of 16 MiB and the 64 MiB that must be free beside it. [MiB]"""
LINE_ROOM_BYTES = 1 << 20
"""What a line holds while it waits for the store. [bytes]"""


@contextlib.contextmanager
def disk(folder: Path, size_mib: int) -> Iterator[Path]:
    """Give a file system of its own until the end of the block. [MiB]"""
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size_mib}m", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def fill(folder: Path) -> Path:
    """Write somebody else's file until nothing more fits."""
    video = folder / "video.bin"
    descriptor = video.open("wb", buffering=0)
    with descriptor, contextlib.suppress(OSError):
        while descriptor.write(bytes(4096)):
            pass
    return video


def store_of(running: Daemon) -> dict[str, Any]:
    found: dict[str, Any] = running.get("/api/v1/health")["store"]
    return found


def line_state(running: Daemon) -> dict[str, Any]:
    (found,) = running.get("/api/v1/lines")["items"]
    state: dict[str, Any] = found
    return state


def readings(running: Daemon) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = running.get("/api/v1/readings", limit=1000)["items"]
    return items


def heard(store: Path) -> list[bytes]:
    """Return the heard bytes of each capture of a store that nobody holds, oldest first."""
    opened = open_store(store, kind="real", clock_us=lambda: 0)
    try:
        with opened.reader() as connection:
            return [
                b"".join(chunk.data for chunk in chunks_after(connection, one.number, after=0, limit=10**6))
                for one in reversed(captures_before(connection, before=None, limit=1000))
            ]
    finally:
        opened.close()


def test_what_is_said_while_the_disk_is_full_waits_and_is_kept_in_order(tmp_path: Path) -> None:
    log = tmp_path / "wire.jsonl"
    with (
        disk(tmp_path / "disk", SMALL_MIB) as small,
        simulators(tmp_path / "ports", "lines", "--rate", "50", "--log", str(log)) as ports,
    ):
        port, config = free_port(), tmp_path / "tundish.toml"
        config.write_text(config_text(port, [line_of(ports[0])], store=str(small / "store.db")))
        with daemon(config, port) as running:
            until("readings", lambda: len(readings(running)) > 10)
            video = fill(small)
            until("the trouble", lambda: not store_of(running)["ok"])
            acknowledged = {one["revision"] for one in readings(running)}
            until("bytes to wait", lambda: line_state(running)["waiting_bytes"] > 500)
            _assert_it_is_said_loudly(running)
            video.unlink()
            until("the store to be well", lambda: store_of(running)["ok"])
            until("newer readings", lambda: readings(running)[-1]["revision"] > max(acknowledged))
            assert acknowledged <= {one["revision"] for one in readings(running)}
            assert running.get("/api/v1/gaps")["items"] == []
            assert running.stop() == 0
        assert verify_file(small / "store.db").in_order
        (capture,) = heard(small / "store.db")
    assert wire_bytes(log).startswith(capture)  # the wire may have taken more than was read at the stop


def _assert_it_is_said_loudly(running: Daemon) -> None:
    health = running.get("/api/v1/health")
    assert not health["ok"]
    assert "full" in health["store"]["why"]
    assert line_state(running)["state"] == "open"
    for page in ("/", "/lines"):
        assert "The store cannot be written: database or disk is full" in httpx.get(running.url + page).text
    assert "store.unwritable" in running.log.read_text(encoding="utf-8")


LONG_FRAME_DRIVER = r"""
name = "long-rows"
version = "1"

[framing]
ends = ['\r\n']
max_length = 8192
distrust_first = false

[delimited]
separator = ";"

[[delimited.records]]
columns = [{ kind = "sequence" }, { kind = "ignore" }, { kind = "value", quantity = "ph", unit = "pH" }]

[[examples]]
raw = '00000001;padding;3.41\r\n'
expect = [{ quantity = "ph", value = "3.41", sequence = "00000001" }]
"""


def long_frame(number: int) -> bytes:
    return b"%08d;%s;3.41\r\n" % (number, b"x" * 4000)


def test_what_exceeds_the_room_becomes_a_gap_with_its_byte_count(tmp_path: Path) -> None:
    plug = PluggedTerminal(tmp_path / "ttyX")
    plug.plug()
    (tmp_path / "long-rows.toml").write_text(LONG_FRAME_DRIVER)
    line = {"name": "x", "kind": "serial", "device": str(plug.path), "instrument": "x-1"}
    sent = bytearray()

    def say(first: int, count: int) -> None:
        for number in range(first, first + count):
            plug.write(long_frame(number))
            sent.extend(long_frame(number))

    with disk(tmp_path / "disk", SMALL_MIB) as small:
        port, config = free_port(), tmp_path / "tundish.toml"
        lines = [line | {"driver": "long-rows.toml"}]
        config.write_text(config_text(port, lines, store=str(small / "store.db"), spool_mib=1))
        with daemon(config, port) as running:
            until("the line to be open", lambda: line_state(running)["state"] == "open")
            say(1, 3)
            until("the first readings", lambda: len(readings(running)) == 3)
            video = fill(small)
            say(4, LINE_ROOM_BYTES // len(long_frame(0)) + 50)
            lost = until("the room to run out", lambda: line_state(running)["overflow_bytes"])
            video.unlink()
            until("the store to be well", lambda: store_of(running)["ok"])
            (gap,) = until("the gap", lambda: _after_speaking(running, say))
            assert running.stop() == 0
        assert verify_file(small / "store.db").in_order
        captures = heard(small / "store.db")
    plug.unplug()
    assert gap["lost_bytes"] >= lost
    assert "faster than they were taken" in gap["why"]
    before, after = captures
    assert bytes(sent[: len(before)]) == before
    assert bytes(sent).endswith(after)
    assert len(before) + gap["lost_bytes"] + len(after) == len(sent)


def _after_speaking(running: Daemon, say: Any) -> list[dict[str, Any]]:
    """Return the gaps; while there is none, say one thing more, since a gap ends when something is heard."""
    gaps: list[dict[str, Any]] = running.get("/api/v1/gaps")["items"]
    if not gaps:
        say(900_000, 1)
    return gaps


def test_the_ballast_is_thrown_overboard_and_taken_again(tmp_path: Path) -> None:
    with (
        disk(tmp_path / "disk", WITH_BALLAST_MIB) as small,
        simulators(tmp_path / "ports", "lines", "--rate", "50") as ports,
    ):
        ballast = small / "store.db.ballast"
        port, config = free_port(), tmp_path / "tundish.toml"
        config.write_text(config_text(port, [line_of(ports[0])], store=str(small / "store.db")))
        with daemon(config, port) as running:
            until("the ballast", ballast.exists)
            video = fill(small)
            until("the ballast to go", lambda: not ballast.exists())
            first = len(readings(running))
            until(
                "readings on a full disk", lambda: store_of(running)["ok"] and len(readings(running)) > first
            )
            video.unlink()
            until("the ballast again", ballast.exists)
            assert running.stop() == 0


def test_a_stop_on_a_full_disk_ends_and_says_what_was_lost(tmp_path: Path) -> None:
    with (
        disk(tmp_path / "disk", SMALL_MIB) as small,
        simulators(tmp_path / "ports", "lines", "--rate", "50") as ports,
    ):
        port, config = free_port(), tmp_path / "tundish.toml"
        config.write_text(config_text(port, [line_of(ports[0])], store=str(small / "store.db")))
        with daemon(config, port) as running:
            until("readings", lambda: readings(running))
            video = fill(small)
            until("bytes to wait", lambda: line_state(running)["waiting_bytes"] > 100)
            acknowledged = {one["revision"] for one in readings(running)}
            assert running.stop() == 2
            last_words = running.log.read_text(encoding="utf-8").splitlines()[-1]
        assert re.search(
            r"^tundish: stopped with a store .* lost: \d+ bytes of line-000\. .*full", last_words
        )
        video.unlink()
        with daemon(config, port) as running:
            assert acknowledged <= {one["revision"] for one in readings(running)}
            (gap,) = until("the gap", lambda: running.get("/api/v1/gaps")["items"])
            assert gap["line"] == "line-000"
            assert running.stop() == 0
        assert verify_file(small / "store.db").in_order


def test_a_start_on_a_full_disk_is_one_clear_line(tmp_path: Path) -> None:
    with disk(tmp_path / "disk", SMALL_MIB) as small:
        fill(small)
        config = tmp_path / "tundish.toml"
        config.write_text(config_text(free_port(), [], store=str(small / "store.db")))
        said = refused("run", "--config", str(config))
    assert re.fullmatch(r"tundish: .*store\.db.*", said)
    assert "full" in said or "No space left" in said

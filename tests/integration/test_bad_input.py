"""What cannot work is one clear line that says what, where and what to do, with exit code 2."""

import re
import sqlite3
import subprocess
from pathlib import Path
from typing import Any

import pytest
import serial

from storage.store import open_store
from tests.fakes.terminal import PluggedTerminal
from tests.integration.bench_run import (
    Daemon,
    config_text,
    daemon,
    free_port,
    refused,
    until,
    write_config,
)
from tests.integration.test_disk_full import SMALL_MIB, disk
from tests.integration.test_main_job import STRANGE_DRIVER


def test_a_taken_port_number_is_one_clear_line(tmp_path: Path) -> None:
    config, port = write_config(tmp_path, [])
    with daemon(config, port):
        other = tmp_path / "other"
        other.mkdir()
        (other / "tundish.toml").write_text(config_text(port, []), encoding="utf-8")
        assert re.fullmatch(
            f"tundish: port {port} of 127.0.0.1 is taken .*",
            refused("run", "--config", str(other / "tundish.toml")),
        )


def test_a_store_that_is_held_is_one_clear_line(tmp_path: Path) -> None:
    config, port = write_config(tmp_path, [])
    with daemon(config, port):
        second = tmp_path / "second.toml"
        second.write_text(config_text(free_port(), []), encoding="utf-8")
        assert "is held by another daemon (process" in refused("run", "--config", str(second))


def test_an_unknown_driver_names_those_that_there_are(tmp_path: Path) -> None:
    line = {"name": "a", "kind": "serial", "device": "/dev/null", "instrument": "a", "driver": "nothing"}
    config, _ = write_config(tmp_path, [line])
    said = refused("check", str(config))
    assert "line[a].driver: no driver is called 'nothing'" in said
    assert "so2-burette" in said


def test_a_wrong_key_in_a_driver_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "d.toml").write_text(STRANGE_DRIVER + "\ncolour = 1\n", encoding="utf-8")
    line = {"name": "a", "kind": "serial", "device": "/dev/null", "instrument": "a", "driver": "d.toml"}
    config, _ = write_config(tmp_path, [line])
    assert "colour" in refused("check", str(config))


def test_a_file_that_is_no_store_is_refused(tmp_path: Path) -> None:
    (tmp_path / "store.db").write_bytes(b"this is a text, not a database" * 100)
    config, _ = write_config(tmp_path, [])
    assert "is not a store of this program" in refused("run", "--config", str(config))


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    config = tmp_path / "tundish.toml"
    config.write_text(config_text(free_port(), [], store="absent/store.db"), encoding="utf-8")
    assert "its folder is not there" in refused("run", "--config", str(config))


@pytest.mark.parametrize(
    ("device", "state", "word"),
    [("/dev/tundish-absent", "waiting", "exist"), ("/dev/null", "failed", "serial port")],
    ids=["absent", "no tty"],
)
def test_a_port_that_cannot_be_opened_is_told_with_a_reason(
    tmp_path: Path, device: str, state: str, word: str
) -> None:
    line = {"name": "a", "kind": "serial", "device": device, "instrument": "a", "driver": "load-lines"}
    config, port = write_config(tmp_path, [line])
    with daemon(config, port) as running:
        found = until("the reason", lambda: _in_state(running, state))
        assert device in found["why"]
        assert word in found["why"]
        assert running.stop() == 0


def _in_state(running: Daemon, state: str) -> dict[str, Any] | None:
    (line,) = running.get("/api/v1/lines")["items"]
    return line if line["state"] == state else None


@pytest.mark.needs("pseudo-terminals")
def test_a_port_that_another_program_holds_waits_with_a_reason(tmp_path: Path) -> None:
    plug = PluggedTerminal(tmp_path / "ttyX")
    plug.plug()
    line = {
        "name": "a",
        "kind": "serial",
        "device": str(plug.path),
        "instrument": "a",
        "driver": "load-lines",
    }
    config, port = write_config(tmp_path, [line])
    with serial.Serial(str(plug.path), exclusive=True) as held, daemon(config, port) as running:
        state = until("the reason", lambda: _in_state(running, "waiting"))
        assert "another program" in state["why"]
        held.close()
        until("the line to open by itself", lambda: _in_state(running, "open"))
        assert running.stop() == 0
    plug.unplug()


@pytest.mark.needs("small disks")
def test_a_store_on_a_read_only_disk_is_refused(tmp_path: Path) -> None:
    with disk(tmp_path / "disk", SMALL_MIB) as small:
        config = tmp_path / "tundish.toml"
        config.write_text(config_text(free_port(), [], store=str(small / "store.db")), encoding="utf-8")
        subprocess.run(["mount", "-o", "remount,ro", str(small)], check=True)
        said = refused("run", "--config", str(config))
    assert re.fullmatch(r"tundish: the store .*store\.db cannot be written: Read-only file system; .*", said)


def test_a_store_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    open_store(tmp_path / "store.db", kind="real", clock_us=lambda: 0).close()
    with sqlite3.connect(tmp_path / "store.db") as store:
        store.execute("UPDATE alembic_version SET version_num = '9999'")
    store.close()
    config, _ = write_config(tmp_path, [])
    assert "Run the newer program, or restore a backup" in refused("run", "--config", str(config))


def test_all_faults_of_a_configuration_are_told_at_once(tmp_path: Path) -> None:
    config = tmp_path / "tundish.toml"
    config.write_text(
        '[store]\nkind = "rael"\n\n[api]\nport = 0\nhots = "x"\n\n'
        '[[line]]\nname = "so2"\nkind = "serial"\ninstrument = "bur-1"\ndriver = "nothing"\nbaud = "fast"\n',
        encoding="utf-8",
    )
    said = refused("check", str(config))
    for place in ("store.kind", "api.port", "api.hots", "line[so2].baud", "line[so2].driver"):
        assert place in said

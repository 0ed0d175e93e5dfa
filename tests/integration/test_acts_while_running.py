"""What is asked of a running daemon is done, kept and entered: acts on lines, copies of the store."""

from pathlib import Path
from typing import Any

import httpx
import pytest
from click.testing import CliRunner

from storage.backup import verify_file
from tests.fakes.terminal import PluggedTerminal
from tests.integration.bench_run import Daemon, config_text, daemon, free_port, until
from tundish.cli import cli
from tundish.errors import DaemonRefusedError

pytestmark = pytest.mark.needs("pseudo-terminals")

FRAME = b"R|0042|2025-10-06 08:41:07|F|W-1007|2.31|mL|29.6|mg/L|*53\r\n"
BY_AB = {"Tundish-Actor": "AB"}


def ask(running: Daemon, method: str, path: str, body: dict[str, Any] | None = None) -> httpx.Response:
    return httpx.request(method, running.url + path, json=body, headers=BY_AB, timeout=30)


def state(running: Daemon, name: str) -> str:
    lines = running.get("/api/v1/lines")["items"]
    return next((line["state"] for line in lines if line["line"] == name), "absent")


def sample_ids(running: Daemon) -> list[str]:
    return [one["sample"] for one in running.get("/api/v1/readings", quantity="free_so2")["items"]]


def test_a_line_lives_through_acts_and_restarts(tmp_path: Path) -> None:
    terminal = PluggedTerminal(tmp_path / "port")
    terminal.plug()
    line = {"name": "so2", "kind": "serial", "device": str(terminal.path)}
    line |= {"instrument": "bur-1", "driver": "so2-burette"}
    port = free_port()
    config = tmp_path / "tundish.toml"
    config.write_text(config_text(port, []), encoding="utf-8")

    with daemon(config, port) as running:
        added = ask(running, "POST", "/api/v1/lines", {"line": line, "reason": "new burette"})
        assert added.status_code == 201
        until("the line to open", lambda: state(running, "so2") == "open")
        terminal.write(FRAME)
        until("the reading", lambda: sample_ids(running) == ["W-1007"])
        stopped = ask(running, "POST", "/api/v1/lines/so2/stop", {"reason": "tube"}).json()
        assert (stopped["line"]["state"], stopped["line"]["why"]) == ("stopped", "stopped by AB: tube")
        entries = running.get("/api/v1/ledger", limit=1000)["items"]
        acts = [
            (one["action"], one["actor"], one["reason"]) for one in entries if one["action"][:5] == "line."
        ]
        assert acts == [("line.added", "AB", "new burette"), ("line.stopped", "AB", "tube")]
        assert running.stop() == 0

    with daemon(config, port) as running:
        assert state(running, "so2") == "stopped"
        assert ask(running, "POST", "/api/v1/lines/so2/start").status_code == 200
        until("the line to open", lambda: state(running, "so2") == "open")
        config.write_text(
            config_text(port, [{**line, "name": "other", "device": "/dev/none"}]), encoding="utf-8"
        )
        said = CliRunner().invoke(cli, ["reload", "--port", str(port), "--actor", "CD"])
        assert said.output == "configuration read again; added: other\n"
        until("the new line to wait", lambda: state(running, "other") == "waiting")
        config.write_text("[[line]]\nname = 3\n", encoding="utf-8")
        refused = CliRunner().invoke(cli, ["reload", "--port", str(port)]).exception
        assert isinstance(refused, DaemonRefusedError)
        assert "line[3].kind: is missing" in str(refused)
        assert running.stop() == 0

    terminal.unplug()
    assert verify_file(tmp_path / "store.db").in_order


def test_a_backup_beside_a_running_daemon_is_entered_by_it(tmp_path: Path) -> None:
    port = free_port()
    config = tmp_path / "tundish.toml"
    config.write_text(config_text(port, []), encoding="utf-8")
    with daemon(config, port) as running:
        said = CliRunner().invoke(cli, ["backup", str(tmp_path / "store.db"), str(tmp_path), "--actor", "AB"])
        assert "entered in the ledger" in said.output
        store = running.get("/api/v1/health")["store"]
        (known,) = running.get("/api/v1/backups")["items"]
        assert running.stop() == 0
    assert 0 <= store["last_backup_age_s"] < 60
    assert (known["actor"], Path(known["file"]).parent) == ("AB", tmp_path.resolve())
    assert verify_file(Path(known["file"])).entries == known["head"]
    assert not (tmp_path / "store.db.address").exists()

"""The bench as a program: ports, paper, faults and the key, in a process of its own."""

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial

from simulators.__main__ import main
from simulators.ports import HAS_PTY
from simulators.wirelog import bytes_put, read_log

TIMEOUT_S = 20.0
LINKS = [pytest.param(["--tcp"], id="tcp")] + [pytest.param([], id="pty")] * HAS_PTY


@contextmanager
def program(*arguments: str) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-m", "simulators", *arguments]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        watchdog = threading.Timer(TIMEOUT_S, process.kill)  # so that no read from it waits for ever
        watchdog.start()
        try:
            yield process
        finally:
            watchdog.cancel()
            process.kill()


def said(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return process.stdout.readline().strip()


def tell(process: subprocess.Popen[str], line: str) -> None:
    assert process.stdin is not None
    process.stdin.write(line + "\n")
    process.stdin.flush()


def ended(process: subprocess.Popen[str]) -> int:
    """Close the program's standard input, as the end of its parent would, and return its exit code."""
    assert process.stdin is not None
    process.stdin.close()
    return process.wait(TIMEOUT_S)


@pytest.mark.parametrize("link", LINKS)
def test_the_paper_says_how_to_reach_every_instrument(link: list[str], tmp_path: Path) -> None:
    with program("bench", "--folder", str(tmp_path), "--speed", "100", *link) as process:
        assert said(process).startswith("bur-1 at ")
        paper = json.loads((tmp_path / "bench.json").read_text())
        assert [(one["instrument"], one["driver"]) for one in paper] == [
            ("bur-1", "so2-burette"),
            ("ph-1", "ph-stream"),
        ]
        with serial.serial_for_url(
            paper[1]["url_or_device"], timeout=TIMEOUT_S, **paper[1]["settings"]
        ) as reader:
            assert reader.read_until(b"\r").startswith(b"pH ")
        assert ended(process) == 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("link", LINKS)
def test_the_key_holds_exactly_what_the_reader_got(link: list[str], tmp_path: Path) -> None:
    key = tmp_path / "key.jsonl"
    ports = tmp_path / "ports"
    options = ["--folder", str(ports), "--saturate", "--count", "3000", "--log", str(key), *link]
    with program("lines", *options) as process:
        address = said(process).split()[2]
        with serial.serial_for_url(address, timeout=TIMEOUT_S) as reader:
            heard = b"".join(reader.readline() for _ in range(3000))
        assert said(process) == "done"
        assert ended(process) == 0
    assert heard.count(b"\r\n") == 3000
    assert heard == bytes_put(key, "line-000")


@pytest.mark.skipif(not HAS_PTY, reason="this system has no pseudo-terminals (os.openpty)")
def test_a_fault_on_demand_strikes_a_running_line(tmp_path: Path) -> None:
    key = tmp_path / "key.jsonl"
    with program("lines", "--port", str(tmp_path / "a"), "--rate", "50", "--log", str(key)) as process:
        address = said(process).split()[2]
        with serial.Serial(address, timeout=TIMEOUT_S) as reader:
            assert reader.readline().startswith(b"N|00000001|")
            tell(process, "fault line-000 cut_cable 1")
            with pytest.raises(serial.SerialException):
                reader.read(100_000)
        assert ended(process) == 0
    faults = [entry["meaning"] for entry in read_log(key) if entry["kind"] == "fault"]
    assert faults[0] == {"fault": "cut_cable", "state": "began"}


@pytest.mark.skipif(sys.platform == "win32", reason="Windows ends a process without a signal")
def test_a_terminate_signal_ends_it_in_order(tmp_path: Path) -> None:
    with program("bench", "--folder", str(tmp_path), "--tcp") as process:
        said(process)
        process.terminate()
        assert process.wait(TIMEOUT_S) == 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["lines"], "no port given"),
        (["bench", "--folder", "{}", "--speed", "0"], "speed 0 is not possible"),
        (["bench", "--folder", "{}", "--tcp", "--fault", "bur-9/garbage@1"], "no instrument 'bur-9'"),
        (["so2-burette", "--port", "{}"], "is in the way"),
    ],
)
def test_a_wrong_order_is_one_clear_line_and_exit_2(
    arguments: list[str], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([argument.replace("{}", str(tmp_path)) for argument in arguments]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert why in line


def test_an_unknown_fault_is_refused_by_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as exit_info:
        main(["ph-meter", "--port", "tcp", "--fault", "gremlin@1"])
    assert exit_info.value.code == 2
    assert "unknown fault 'gremlin'" in capsys.readouterr().err

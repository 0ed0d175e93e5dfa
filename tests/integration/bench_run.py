"""Run the program and the simulated lines as processes of their own, and wait for what they do."""

import contextlib
import json
import select
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import httpx

LIMIT_S = 300.0
"""Long enough for a machine that is busy with other things; a test that needs it has failed. [s]"""

POLL_S = 0.05
"""How often is asked: seldom enough to leave the processor to what is waited for. [s]"""
PLAIN = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
"""Never used, since all is plain HTTP; without it each call would read all certificates of the world."""

T = TypeVar("T")


def free_port() -> int:
    """Return a port that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def until(what: str, answer: Callable[[], T | None]) -> T:
    """Ask again and again until there is an answer; fail with `what` was waited for."""
    deadline = time.monotonic() + LIMIT_S
    while time.monotonic() < deadline:
        found = answer()
        if found:
            return found
        select.select([], [], [], POLL_S)  # give the processor away
    raise AssertionError(f"waited {LIMIT_S:g} s in vain for {what}")


@dataclass
class Daemon:
    """A running ``tundish run``."""

    process: "subprocess.Popen[bytes]"
    port: int
    log: Path

    @property
    def url(self) -> str:
        """Where it serves."""
        return f"http://127.0.0.1:{self.port}"

    def get(self, path: str, **query: Any) -> Any:
        """Return what a route answers."""
        response = httpx.get(self.url + path, params=query, timeout=LIMIT_S, verify=PLAIN)
        response.raise_for_status()
        return response.json()

    def post(self, path: str, body: Any, who: str) -> Any:
        """Let somebody act, and return what the route answers."""
        headers = {"Tundish-Actor": who}
        response = httpx.post(self.url + path, json=body, headers=headers, timeout=LIMIT_S, verify=PLAIN)
        assert response.status_code < 300, response.text
        return response.json()

    def answers(self) -> bool:
        """Tell whether it serves already; fail if it has ended."""
        assert self.process.poll() is None, self.log.read_text(encoding="utf-8")
        with contextlib.suppress(httpx.TransportError):
            address = f"{self.url}/api/v1/health"
            return httpx.get(address, timeout=LIMIT_S, verify=PLAIN).status_code == 200
        return False

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.kill()
        self.process.wait(LIMIT_S)

    def stop(self) -> int:
        """Ask it to stop and return its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(LIMIT_S)


@contextlib.contextmanager
def daemon(
    config: Path,
    port: int,
    environment: Mapping[str, str] | None = None,
    serves: Callable[[], bool] | None = None,
) -> Iterator[Daemon]:
    """Run the daemon with a configuration until the end of the block.

    It answers when the block begins, or does what `serves` looks for.
    """
    log = config.with_suffix(".log")
    call = [sys.executable, "-c", "from tundish.cli import main; main()", "run", "--config", str(config)]
    with (
        log.open("ab") as sink,
        subprocess.Popen(call, stdout=sink, stderr=sink, env=environment) as process,
    ):
        running = Daemon(process, port, log)
        try:
            until("the daemon to serve", serves or running.answers)
            yield running
        finally:
            if process.poll() is None:
                running.kill()


def refused(*arguments: str) -> str:
    """Return the one clear text with which a call of the program is refused."""
    call = [sys.executable, "-c", "from tundish.cli import main; main()", *arguments]
    done = subprocess.run(call, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    return done.stderr.strip()


def config_text(
    port: int, lines: list[dict[str, Any]], store: str = "store.db", **store_keys: str | int
) -> str:
    """Return a configuration file with these lines."""
    tables = ["\n[[line]]\n" + _keys(line) for line in lines]
    return "[store]\n" + _keys({"path": store, **store_keys}) + f"\n[api]\nport = {port}\n" + "".join(tables)


def write_config(folder: Path, lines: list[dict[str, Any]]) -> tuple[Path, int]:
    """Write a configuration that serves at a free port; return its path and the port."""
    port = free_port()
    path = folder / "tundish.toml"
    path.write_text(config_text(port, lines), encoding="utf-8")
    return path, port


def _keys(table: dict[str, Any]) -> str:
    return "".join(f"{key} = {_toml(value)}\n" for key, value in table.items())


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)


@dataclass
class SimulatedBench:
    """A running simulators' program."""

    process: "subprocess.Popen[bytes]"
    instruments: list[dict[str, Any]]
    """How each instrument is reached."""

    def tell(self, words: str) -> None:
        """Give a line of control, such as ``fault bur-1 cut_cable 5``."""
        assert self.process.stdin is not None
        self.process.stdin.write(words.encode() + b"\n")
        self.process.stdin.flush()


@contextlib.contextmanager
def simulators(folder: Path, *arguments: str) -> Iterator[list[dict[str, Any]]]:
    """Run the simulators' program until the end of the block; yield how its instruments are reached."""
    with simulated_bench(folder, *arguments) as bench:
        yield bench.instruments


@contextlib.contextmanager
def simulated_bench(folder: Path, *arguments: str) -> Iterator[SimulatedBench]:
    """Run the simulators' program until the end of the block, with faults and buttons at hand."""
    paper = folder / "bench.json"
    call = [sys.executable, "-m", "simulators", *arguments, "--folder", str(folder)]
    process = subprocess.Popen(call, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL)
    with process:
        try:
            until("the simulators", lambda: paper.exists() or process.poll() is not None)
            yield SimulatedBench(process, json.loads(paper.read_text(encoding="utf-8")))
        finally:
            assert process.stdin is not None
            process.stdin.close()
            process.wait(LIMIT_S)


def line_of(one: dict[str, Any]) -> dict[str, Any]:
    """Return the configuration of a line that listens to a simulated instrument."""
    address = one["url_or_device"]
    way = "url" if "://" in address else "device"
    return {
        "name": one["instrument"],
        "kind": "serial",
        way: address,
        "instrument": one["instrument"],
        "driver": one["driver"],
        "baud": one["settings"]["baudrate"],
        **({"options": one["options"]} if one.get("options") else {}),
    }


def wire_bytes(log: Path) -> bytes:
    """Return all bytes that the simulators' key says were put on the line."""
    entries = [json.loads(text) for text in log.read_text(encoding="utf-8").splitlines()]
    return b"".join(bytes.fromhex(entry["hex"]) for entry in entries if "hex" in entry)

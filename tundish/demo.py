"""The demonstration: a simulated bench in a process of its own, and a configuration that listens to it."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from acquire.clock import SystemClock
from tundish.config import load_config
from tundish.demo_cellar import furnish
from tundish.errors import SimulatedBenchError
from tundish.wiring import store_of

START_LIMIT_S = 20.0
"""How long the simulated bench may take to come up. [s]"""
POLL_S = 0.05
PARITY = {"N": "none", "E": "even", "O": "odd", "M": "mark", "S": "space"}


@contextmanager
def simulated_bench(folder: Path) -> Iterator[list[dict[str, Any]]]:
    """Run the simulated bench and yield how its instruments are reached. Ends it at the end.

    Raises
    ------
    SimulatedBenchError
        If it does not come up.
    """
    ports = folder / "bench"
    paper = ports / "bench.json"
    try:
        ports.mkdir(parents=True, exist_ok=True)
        paper.unlink(missing_ok=True)
    except OSError as error:
        raise SimulatedBenchError(
            f"the demo folder {folder} cannot be used: {error.strerror}; name another with --folder"
        ) from error
    call = [sys.executable, "-m", "simulators", "bench", "--folder", str(ports)]
    call += ["--log", str(folder / "wire.jsonl")]
    if sys.platform == "win32":
        call.append("--tcp")
    # Its standard input is ours to close: the bench ends with this process, however that ends.
    bench = subprocess.Popen(  # noqa: S603 - our own interpreter and our own module
        call, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, start_new_session=True
    )
    with bench:
        try:
            yield _instruments(bench, paper)
        finally:
            if bench.stdin:
                bench.stdin.close()
            bench.wait(START_LIMIT_S)


def _instruments(bench: "subprocess.Popen[bytes]", paper: Path) -> list[dict[str, Any]]:
    deadline = time.monotonic() + START_LIMIT_S
    while time.monotonic() < deadline:
        if paper.exists():
            found: list[dict[str, Any]] = json.loads(paper.read_text(encoding="utf-8"))
            return found
        if bench.poll() is not None:
            raise SimulatedBenchError(f"the simulated bench ended by itself with code {bench.returncode}")
        time.sleep(POLL_S)
    raise SimulatedBenchError(f"the simulated bench did not come up within {START_LIMIT_S:g} s")


def demo_config(instruments: list[dict[str, Any]], port: int) -> str:
    """Return the configuration file that listens to a simulated bench."""
    lines = [_line_table(one) for one in instruments]
    return f'[store]\npath = "demo.db"\nkind = "demo"\n\n[api]\nport = {port}\n' + "".join(lines)


def _line_table(one: dict[str, Any]) -> str:
    address = one["url_or_device"]
    way = "url" if "://" in address else "device"
    table = {"name": one["instrument"], "kind": "serial", way: address, "instrument": one["instrument"]}
    table |= {"driver": one["driver"], **_settings(one["settings"])}
    return "\n[[line]]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in table.items())


def _settings(wire: dict[str, Any]) -> dict[str, Any]:
    """Return line settings in the words of the configuration; the bench says them as pySerial does."""
    return {
        "baud": wire["baudrate"],
        "data_bits": wire["bytesize"],
        "parity": PARITY[wire["parity"]],
        "stop_bits": wire["stopbits"],
    }


def furnished(config_file: Path) -> None:
    """Let the store of a configuration hold what the demonstration's laboratory knows.

    Raises
    ------
    ConfigError, StorageError
        If the configuration or the store cannot be used.
    """
    clock = SystemClock()
    config = load_config(config_file)
    with closing(store_of(config, config_file.resolve().parent, clock.utc_us)) as store:
        furnish(store, clock.utc_us())


def welcome(port: int, folder: Path) -> str:
    """Return what to open and what to type next."""
    here = f"http://127.0.0.1:{port}"
    return f"""
The simulated bench is talking; the numbers in this store are invented.

  open    {here}/
  sheet   {here}/sheets/readings.csv
  type    curl '{here}/api/v1/readings?limit=3'
          .venv/bin/tundish lines --port {port}
          .venv/bin/tundish verify {folder / "demo.db"}
  a real  copy {folder / "tundish.toml"}, name your port in it, then: .venv/bin/tundish run --config FILE

Stop with Ctrl-C. The first SO2 result comes in about ten seconds.
"""

"""The API on a real port, over a store with something of everything, for a fuzzer."""

import asyncio
import contextlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from api.app import close_app, create_app, end_streams
from storage.store import open_store
from tests.fakes.api_services import still_services
from tests.fakes.bench_records import fill_records
from tests.fakes.filled_store import NOON_US, Filler, fill_bench
from tundish.web import bind, server

HOME: Final = Path(__file__).parents[2]
LEFT_OUT: Final = {
    "positive_data_acceptance": (
        "what fits the schema may still break a rule that no schema says (an end before its beginning, a "
        "cursor of another walk, a reason that is wanted, buffers that make no line): `refusal_says_why` "
        "holds each such answer to saying so"
    ),
}
"""Checks of the fuzzer that are not made, and why."""
ENDLESS: Final = {"/api/v1/events": "a stream without an end; its tests are in tests/unit/api/test_events.py"}
"""Routes that are not asked for, and why."""


@contextlib.contextmanager
def served(folder: Path) -> Iterator[str]:
    """Serve the API until the end of the block; yield its address."""
    store = open_store(folder / "fuzz.db", kind="demo", clock_us=lambda: NOON_US)
    fill_bench(Filler(store))
    fill_records(store)
    app = create_app(still_services(store))
    with bind("127.0.0.1", 0) as listener:
        listener.listen()  # who comes before the server is ready waits
        web = server(app)
        thread = threading.Thread(target=lambda: asyncio.run(web.serve(sockets=[listener])))
        thread.start()
        try:
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            end_streams(app)
            web.should_exit = True
            thread.join()
            close_app(app)
            store.close()


def fuzz(address: str, folder: Path, *more: str) -> tuple[int, str, dict[str, Any]]:
    """Run the fuzzer against an address; return its exit code, what it said, and its report."""
    report = folder / "report.json"
    call = [str(Path(sys.executable).with_name("st")), "--no-color", "run", f"{address}/api/v1/openapi.json"]
    call += ["--continue-on-failure", "--exclude-checks", ",".join(LEFT_OUT), "--warnings", "off"]
    call += ["--report", "json", "--report-json-path", str(report)]
    for path in ENDLESS:
        call += ["--exclude-path", path]
    environment = {**os.environ, "SCHEMATHESIS_HOOKS": "tests.fuzz.hooks", "PYTHONPATH": str(HOME)}
    done = subprocess.run(
        [*call, *more], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )
    told = json.loads(report.read_text(encoding="utf-8")) if report.exists() else {}
    return done.returncode, done.stdout + done.stderr, told

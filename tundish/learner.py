"""The learner for the API: `tundish learn` in a process of its own, so that hearing never waits for it."""

import asyncio
import json
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from api.problems import ParameterFault, ProblemError

LIMIT_S: Final = 120.0
"""After so long it is given up; a MiB takes a few seconds. [s]"""
ENDED_WELL: Final = (0, 1)
"""Exit codes with a proposal: a good one, and one that is not."""
_PROGRAM: Final = "import os, sys; hasattr(os, 'nice') and os.nice(10); from tundish.cli import main; main()"

Run = Callable[[Sequence[str], bytes], "subprocess.CompletedProcess[bytes]"]


class DaemonLearner:
    """Learns, one capture at a time."""

    def __init__(self, run: Run | None = None) -> None:
        """Take what runs a command with some bytes on its standard input."""
        self._run = run or run_apart
        self._one_at_a_time = asyncio.Lock()

    async def learn(self, data: bytes, answers: Mapping[str, str], name: str) -> Mapping[str, Any]:
        """Return a proposal as `tundish learn --json` tells it; refuses with a `ProblemError`."""
        given = [f"--answer={key}={said}" for key, said in answers.items()]
        command = ["learn", "--json", "--no-ask", f"--name={name}", *given, "-"]
        async with self._one_at_a_time:
            try:
                done = await asyncio.to_thread(self._run, command, data)
            except subprocess.TimeoutExpired as error:
                detail = f"nothing was learnt within {LIMIT_S:g} s; try a shorter capture"
                raise ProblemError(HTTPStatus.SERVICE_UNAVAILABLE, detail) from error
        if done.returncode not in ENDED_WELL:
            said = done.stderr.decode("utf-8", "replace").strip().removeprefix("tundish: ")
            raise ProblemError(
                HTTPStatus.UNPROCESSABLE_ENTITY,
                "the answers cannot be used",
                [ParameterFault(parameter="answers", location="body", detail=said)],
            )
        told: dict[str, Any] = json.loads(done.stdout)
        return told


def run_apart(command: Sequence[str], data: bytes) -> "subprocess.CompletedProcess[bytes]":
    """Run a command of ours in another process, at low priority. Raises `subprocess.TimeoutExpired`."""
    return subprocess.run(  # noqa: S603 - our own program; what callers send are arguments, never words of a shell
        [sys.executable, "-c", _PROGRAM, *command],
        input=data,
        capture_output=True,
        timeout=LIMIT_S,
        check=False,
    )

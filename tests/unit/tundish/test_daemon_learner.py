"""The learner of the daemon: `tundish learn` in a process of its own."""

import subprocess
from collections.abc import Sequence

import pytest

from api.problems import ProblemError
from tundish.learner import DaemonLearner

ROWS = b"".join(b"<%04d> turb:%8.2fNTU st:OK\r\n" % (row, 18 - row % 17) for row in range(60))


async def test_it_learns_in_another_process() -> None:
    told = await DaemonLearner().learn(ROWS, {"turb": "turbidity:NTU"}, "bench-turbidity")
    assert told["standing"] == "good"
    assert told["driver"].startswith('name = "bench-turbidity"')
    assert told["held_out"]["frames_read"] == 30


async def test_an_answer_that_cannot_be_meant_is_refused_with_its_reason() -> None:
    with pytest.raises(ProblemError) as caught:
        await DaemonLearner().learn(ROWS, {"turb": "murk"}, "learnt")
    assert caught.value.status == 422
    assert "'murk' is nothing that 'turb' can be" in caught.value.errors[0].detail


async def test_a_process_that_does_not_end_is_given_up() -> None:
    def hang(command: Sequence[str], data: bytes) -> "subprocess.CompletedProcess[bytes]":
        raise subprocess.TimeoutExpired(list(command), 120.0)

    with pytest.raises(ProblemError) as caught:
        await DaemonLearner(hang).learn(ROWS, {}, "learnt")
    assert caught.value.status == 503

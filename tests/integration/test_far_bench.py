"""A far bench publishes what it hears, another daemon collects it: both stores hold the same bytes.

Everything is real: two daemons, a broker, instruments on pseudo-terminals, and all of them may be killed.
"""

import random
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.integration.bench_run import simulators, until
from tests.integration.far_benches import LINE, assert_same, benches, catch_up, heard, is_closed
from tests.services.mosquitto import Mosquitto

pytestmark = pytest.mark.needs("pseudo-terminals", "mosquitto")

AS_DELIVERED = ("persistence true",)


def test_a_broker_that_is_killed_amid_leaves_both_stores_with_the_same_bytes(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path / "broker")
    broker.start()
    with ExitStack() as stack:
        stack.callback(broker.kill)
        ports = stack.enter_context(simulators(tmp_path / "ports", "lines", "--lines", "1", "--rate", "50"))
        both = benches(tmp_path, broker, ports)
        with both.near_daemon() as near, both.far_daemon() as far:
            for _ in range(3):
                heard(near, 60)
                broker.kill()
                heard(far, 60)
                broker.start()
            heard(near, 60)
            assert far.stop() == 0
            until("the end of the capture", lambda: is_closed(near))
            assert near.stop() == 0
        assert_same(tmp_path, LINE)


@pytest.mark.parametrize(
    "kills", [2, pytest.param(60, marks=pytest.mark.soak)]
)  # half of them of each daemon
def test_daemons_that_are_killed_at_any_moment_leave_both_stores_with_the_same_bytes(
    tmp_path: Path, kills: int
) -> None:
    rng = random.Random(20251125)  # a fixed seed: the moments differ from machine to machine all the same
    broker = Mosquitto(tmp_path / "broker")
    broker.start()
    with ExitStack() as stack:
        stack.callback(broker.kill)
        ports = stack.enter_context(simulators(tmp_path / "ports", "lines", "--lines", "1", "--rate", "50"))
        both = benches(tmp_path, broker, ports)
        for turn in range(kills):
            with both.far_daemon() as far, both.near_daemon() as near:
                heard(near, rng.randrange(1, 120))
                (far if turn % 2 else near).kill()
                if turn % 2 == 0:
                    heard(far, rng.randrange(1, 60))
        with both.near_daemon() as near, both.far_daemon() as far:
            heard(near, 60)
            catch_up(tmp_path)  # whatever the broker lost of it, only the far daemon can still tell
            assert far.stop() == 0
            until("the end of the capture", lambda: is_closed(near))
            assert near.stop() == 0
        assert_same(tmp_path, LINE)


def test_what_a_broker_lost_while_nobody_listened_is_fetched_from_the_far_store(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path / "broker", settings=AS_DELIVERED)
    broker.start()
    with ExitStack() as stack:
        stack.callback(broker.kill)
        ports = stack.enter_context(simulators(tmp_path / "ports", "lines", "--lines", "1", "--rate", "50"))
        both = benches(tmp_path, broker, ports)
        with both.far_daemon() as far:
            with both.near_daemon() as near:
                heard(near, 60)
                near.kill()
            heard(far, 120)
            broker.kill()
            broker.start()
            with both.near_daemon() as near:
                heard(near, 120)
                assert far.stop() == 0
                until("the end of the capture", lambda: is_closed(near))
                assert near.stop() == 0
    assert "far.fetching" in (tmp_path / "near.log").read_text(encoding="utf-8")
    assert_same(tmp_path, LINE)

"""A line on a real broker, from the message to the sink, over a broker that goes and comes back."""

import asyncio

import pytest

from acquire.config import LineSettings, MqttSource
from acquire.line_state import Condition
from acquire.sink import Ending
from acquire.supervisor import Supervisor
from tests.fakes.broker_client import publish
from tests.fakes.line_driver import FakeLineDrivers
from tests.fakes.sink import FakeSink
from tests.services.mosquitto import Mosquitto

pytestmark = pytest.mark.needs("mosquitto")

TOPIC = "bench/far/ph"
LIMIT_S = 20.0  # [s]


async def test_a_broker_that_goes_and_comes_back_leaves_a_gap_and_loses_nothing(mosquitto: Mosquitto) -> None:
    sink = FakeSink()
    supervisor = Supervisor(sink)
    source = MqttSource(mosquitto.host, TOPIC, "tundish-test-ph", mosquitto.port)
    supervisor.add_line(LineSettings("far", "ph-2", source), FakeLineDrivers())
    async with asyncio.timeout(LIMIT_S):
        await sink.until(lambda: len(sink.captures) == 1)
        await publish(mosquitto, TOPIC, [b"pH 3.41\n", b"pH 3."])
        await sink.until(lambda: sink.captures[0].data == b"pH 3.41\npH 3.")
        mosquitto.stop()
        await sink.until(lambda: sink.captures[0].closing is not None)
        assert supervisor.states()[0].state is Condition.WAITING
        mosquitto.start()
        await sink.until(lambda: len(sink.captures) == 2)
        await publish(mosquitto, TOPIC, [b"pH 3.42\n"])
        await sink.until(lambda: sink.captures[1].data == b"pH 3.42\n")
        await supervisor.stop_all()
    lost, stopped = (capture.closing for capture in sink.captures)
    assert lost is not None
    assert stopped is not None
    assert (lost.ending, stopped.ending) == (Ending.LOST, Ending.STOPPED)
    assert [gap.lost_bytes for gap in sink.gaps] == [None]
    assert "was lost" in sink.gaps[0].why
    assert sink.captures[0].refusals == [(b"pH 3.", "partial")]

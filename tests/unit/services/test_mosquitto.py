import asyncio
from pathlib import Path

import aiomqtt
import pytest

from tests.services.mosquitto import Mosquitto

pytestmark = pytest.mark.needs("mosquitto")


async def _one_message(broker: Mosquitto, user: str | None = None, password: str | None = None) -> bytes:
    async with (
        asyncio.timeout(10),
        aiomqtt.Client(broker.host, broker.port, username=user, password=password) as client,
    ):
        await client.subscribe("bench/ph", qos=1)
        await client.publish("bench/ph", b"pH 3.41\r\n", qos=1)
        async for message in client.messages:
            assert isinstance(message.payload, bytes)
            return message.payload
    raise AssertionError("no message came")


async def test_a_broker_of_our_own_carries_a_message(mosquitto: Mosquitto) -> None:
    assert await _one_message(mosquitto) == b"pH 3.41\r\n"


async def test_it_comes_back_on_the_same_port_after_it_was_killed(mosquitto: Mosquitto) -> None:
    port = mosquitto.port
    mosquitto.kill()
    mosquitto.start()
    assert mosquitto.port == port
    assert await _one_message(mosquitto) == b"pH 3.41\r\n"


async def test_with_passwords_only_a_user_with_the_right_one_comes_in(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path / "mosquitto", passwords={"bench": "must"})
    broker.start()
    try:
        assert await _one_message(broker, "bench", "must") == b"pH 3.41\r\n"
        with pytest.raises(aiomqtt.MqttError):
            await _one_message(broker, "bench", "wine")
    finally:
        broker.kill()

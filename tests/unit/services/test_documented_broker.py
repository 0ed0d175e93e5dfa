"""The files of docs/broker.md as they stand there, but for places and ports, do what the page says."""

import asyncio
import re
from collections.abc import Iterator
from pathlib import Path

import aiomqtt
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from acquire.config import MqttSource
from tests.services.mosquitto import Mosquitto
from tundish.publish import connected

pytestmark = pytest.mark.needs("mosquitto")

PAGE = (Path(__file__).parents[3] / "docs" / "broker.md").read_text(encoding="utf-8")
LIMIT_S = 30.0  # [s]
PASSWORDS = {"north": "must", "south": "lees", "collector": "pomace"}
OURS = (
    "listener",
    "certfile",
    "keyfile",
    "persistence_location",
    "allow_anonymous",
    "password_file",
    "acl_file",
)
"""What the test sets itself: places, ports, and what leads to them."""


def block(name: str) -> str:
    (found,) = re.findall(rf"```mosquitto\.{name}\n(.*?)```", PAGE, re.DOTALL)
    return str(found)


def documented(folder: Path) -> Mosquitto:
    lines = [line for line in block("conf").splitlines() if line and not line.startswith(("#", *OURS))]
    return Mosquitto(
        folder,
        passwords=PASSWORDS,
        rules=block("rules"),
        settings=tuple(line for line in lines),
    )


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    broker = documented(tmp_path / "broker")
    broker.start()
    yield broker
    broker.kill()


async def answer(broker: Mosquitto, user: str, topic: str) -> str | None:
    """Publish as a bench does; return why it was refused."""
    status = f"tundish/{user}/v1/status"
    source = MqttSource(broker.host, status, f"{user}-bench", broker.port, user, PASSWORDS[user])
    async with asyncio.timeout(LIMIT_S), connected(source, {"state": "offline"}) as link:
        return await link.publish(topic, b"{}")


@pytest.mark.parametrize("kind", ["status", "reading/ph-1", "result/ph", "capture/ph"])
async def test_a_bench_writes_its_own_topics_and_no_others(broker: Mosquitto, kind: str) -> None:
    assert await answer(broker, "north", f"tundish/north/v1/{kind}") is None
    assert await answer(broker, "north", f"tundish/south/v1/{kind}") == "not authorized"


@pytest.mark.parametrize(
    "topic", ["tundish/north/v2/status", "tundish/v1/status", "north", "other/north/v1/x"]
)
async def test_a_bench_writes_nowhere_else(broker: Mosquitto, topic: str) -> None:
    assert await answer(broker, "north", topic) == "not authorized"


async def test_a_collector_writes_nothing_of_a_bench(broker: Mosquitto) -> None:
    assert await answer(broker, "collector", "tundish/north/v1/capture/ph") == "not authorized"


def collector(broker: Mosquitto) -> aiomqtt.Client:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = 3600
    return aiomqtt.Client(
        broker.host,
        broker.port,
        identifier="collector",
        username="collector",
        password=PASSWORDS["collector"],
        protocol=aiomqtt.ProtocolVersion.V5,
        clean_start=False,
        properties=properties,
    )


async def test_a_bench_cannot_read_what_another_says_and_a_collector_can(broker: Mosquitto) -> None:
    async with asyncio.timeout(LIMIT_S), collector(broker) as reading:
        await reading.subscribe("tundish/#", qos=1)
        assert await answer(broker, "south", "tundish/south/v1/reading/ph-1") is None
        message = await anext(aiter(reading.messages))
    assert str(message.topic) == "tundish/south/v1/reading/ph-1"
    status = "tundish/south/v1/reading/ph-1"
    source = MqttSource(broker.host, status, "north-bench", broker.port, "north", PASSWORDS["north"])
    async with asyncio.timeout(LIMIT_S), connected(source, {"state": "offline"}) as link:
        assert await answer(broker, "south", status) is None
        own = asyncio.ensure_future(anext(aiter(link.seen())))
        assert await link.publish("tundish/north/v1/status", b"{}") is None
        assert not own.done(), "what the other bench said did not come"
        own.cancel()


async def test_a_broker_that_is_killed_still_has_what_it_acknowledged_a_moment_before(
    broker: Mosquitto,
) -> None:
    async with asyncio.timeout(LIMIT_S), collector(broker) as reading:
        await reading.subscribe("tundish/#", qos=1)
    topic = "tundish/north/v1/capture/ph"
    source = MqttSource(broker.host, "tundish/north/v1/status", "bench", broker.port, "north", "must")
    for turn in range(3):
        async with asyncio.timeout(LIMIT_S), connected(source, {"state": "offline"}) as link:
            said = [(topic, f"{turn}-{place}".encode()) for place in range(500)]
            assert await link.publish_all(said) == [None] * 500
        assert await answer(broker, "north", "tundish/north/v1/reading/ph-1") is None  # a moment later
        broker.kill()
        broker.start()
    async with asyncio.timeout(LIMIT_S), collector(broker) as reading:
        messages = aiter(reading.messages)
        came: list[str] = []
        while len(came) < 1500:
            message = await anext(messages)
            came += [message.payload.decode()] * (str(message.topic) == topic)
    assert came == [f"{turn}-{place}" for turn in range(3) for place in range(500)]

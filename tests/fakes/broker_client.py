"""A device that publishes plain bytes to a broker."""

import asyncio
from collections.abc import Sequence

import aiomqtt

from tests.services.mosquitto import Mosquitto

LIMIT_S = 10.0  # [s]


async def publish(broker: Mosquitto, topic: str, payloads: Sequence[bytes], *, retain: bool = False) -> None:
    """Publish payloads one after the other; each has reached the broker when this returns."""
    async with asyncio.timeout(LIMIT_S), aiomqtt.Client(broker.host, broker.port) as client:
        for payload in payloads:
            await client.publish(topic, payload, qos=1, retain=retain)

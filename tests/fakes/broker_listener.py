"""Somebody who listens to all that is published, and comes back whenever the broker does."""

import asyncio
import json
import ssl
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiomqtt

from tests.services.mosquitto import Mosquitto

LIMIT_S = 90.0  # [s]
AGAIN_S = 0.05  # [s]


@dataclass
class Heard:
    """What came, in the order in which it came, as often as it came."""

    messages: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    changed: asyncio.Event = field(default_factory=asyncio.Event)

    def of(self, kind: str) -> list[dict[str, Any]]:
        """Return the messages of one kind: reading, result or status."""
        return [said for topic, said in self.messages if topic.split("/")[3] == kind]

    def ids(self) -> list[str]:
        """Return the ids of what came, each once, in the order of their first coming."""
        return list(dict.fromkeys(said["id"] for _, said in self.messages if "id" in said))

    async def until(self, is_enough: Callable[["Heard"], bool]) -> None:
        """Wait until enough came."""
        async with asyncio.timeout(LIMIT_S):
            while not is_enough(self):
                self.changed.clear()
                await self.changed.wait()


@asynccontextmanager
async def listening(
    broker: Mosquitto, user: str | None = None, password: str = "", *, ca_file: Path | None = None
) -> AsyncIterator[Heard]:
    """Listen to everything until the end of the block; the broker holds what comes while we are away.

    Over TLS if there is a file of authorities to trust.
    """
    heard, there = Heard(), asyncio.Event()
    task = asyncio.create_task(_listen(broker, heard, there, user, password, ca_file))
    try:
        async with asyncio.timeout(LIMIT_S):
            await there.wait()
        yield heard
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def _listen(
    broker: Mosquitto,
    heard: Heard,
    there: asyncio.Event,
    user: str | None,
    password: str,
    ca_file: Path | None,
) -> None:
    trusted = None if ca_file is None else ssl.create_default_context(cafile=str(ca_file))
    while True:
        try:
            async with aiomqtt.Client(
                broker.host,
                broker.port,
                identifier="listener",
                clean_session=False,
                username=user,
                password=password or None,
                tls_context=trusted,
            ) as client:
                await client.subscribe("#", qos=1)
                there.set()
                async for message in client.messages:
                    heard.messages.append((str(message.topic), json.loads(message.payload)))
                    heard.changed.set()
        except aiomqtt.MqttError:
            await asyncio.sleep(AGAIN_S)

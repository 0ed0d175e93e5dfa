"""One connection to a broker, to publish; beside the lines that listen, all that knows its library.

A fresh client for each connection. What was not acknowledged when one ends is published again by whoever
asked for it, as another message: nothing of a connection outlives it.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from typing import Any, Final

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from acquire.config import MqttSource
from acquire.errors import PortForbiddenError, PortLostError
from acquire.lines.mqtt_connection import (
    ANSWER_LIMIT_S,
    AT_LEAST_ONCE,
    FIRST_FAILURE,
    KEEPALIVE_S,
    enter,
    inner,
    leave,
    loss_of,
    refusal_of,
    tls_context_of,
)
from tundish.side_by_side import side_by_side

WINDOW: Final = 20  # messages under way: more is no faster, and a lost connection repeats no more than these
ACKNOWLEDGED_WITHIN_S: Final = 30.0  # [s] a broker that hangs is missed by then in any case
HEADER_BYTES: Final = 128  # [bytes] more than a packet holds beside topic and payload, as we publish it
RETAINED_AND_OWN: Final = 0  # "retain handling": the status that stands there comes at once

Message = tuple[str, bytes]
"""Topic and payload."""


class Publishing:
    """A client that is connected and sees what stands under one topic."""

    def __init__(self, source: MqttSource, client: aiomqtt.Client) -> None:
        self._source = source
        self._client = client
        self._limit_bytes: int | None = None
        self._awaited: dict[int, asyncio.Future[str | None]] = {}
        inner(client).on_publish = self._on_publish
        self._connected = inner(client).on_connect
        inner(client).on_connect = self._on_connect
        client._disconnected.add_done_callback(self._on_loss)  # noqa: SLF001 - nobody else tells it at once

    async def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> str | None:
        """Return None once the broker has taken a message, or in its words why it does not.

        Raises
        ------
        PortLostError
            If nobody knows whether it came: the connection is of no more use.
        """
        if self._limit_bytes is not None and len(topic) + len(payload) + HEADER_BYTES > self._limit_bytes:
            return f"{len(payload)} bytes, and the broker takes packets of at most {self._limit_bytes}"
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        properties.ContentType = "application/json"
        sent = inner(self._client).publish(topic, payload, AT_LEAST_ONCE, retain, properties)
        if sent.rc != 0:
            raise PortLostError(str(self._source), f"the broker at {self._source} was lost ({sent.rc})")
        taken: asyncio.Future[str | None]
        taken = self._awaited[sent.mid] = asyncio.get_running_loop().create_future()
        try:
            async with asyncio.timeout(ACKNOWLEDGED_WITHIN_S):
                return await taken
        except TimeoutError as error:
            text = f"the broker at {self._source} acknowledged nothing for {ACKNOWLEDGED_WITHIN_S:g} s"
            raise PortLostError(str(self._source), text) from error
        finally:
            del self._awaited[sent.mid]

    async def publish_all(self, messages: Sequence[Message]) -> list[str | None]:
        """Publish in order, a few under way at a time; answer and raise for each as :meth:`publish` does."""
        under_way = asyncio.Semaphore(WINDOW)  # who came first goes first

        async def publish(message: Message) -> str | None:
            async with under_way:
                return await self.publish(*message)

        return await side_by_side(publish(message) for message in messages)

    async def seen(self) -> AsyncIterator[bytes]:
        """Yield what is published under the topic; raises `PortLostError` when the connection is lost."""
        try:
            async for message in self._client.messages:
                yield message.payload
        except aiomqtt.MqttError as error:
            raise PortLostError(str(self._source), loss_of(self._source, error)) from error

    def _on_publish(
        self, _client: object, _userdata: object, number: int, reason: Any, _more: object
    ) -> None:
        taken = self._awaited.get(number)
        if taken is not None and not taken.done():
            refused = reason is not None and reason.value >= FIRST_FAILURE
            taken.set_result(str(reason).lower() if refused else None)

    def _on_loss(self, lost: "asyncio.Future[None]") -> None:
        """Tell whoever waits for an acknowledgement that none will come."""
        why = None if lost.cancelled() else lost.exception()
        error = PortLostError(str(self._source), f"the broker at {self._source} was lost ({why})")
        for taken in self._awaited.values():
            if not taken.done():
                taken.set_exception(error)

    def _on_connect(
        self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any = None
    ) -> None:
        self._limit_bytes = getattr(properties, "MaximumPacketSize", None)
        self._connected(client, userdata, flags, reason, properties)


@asynccontextmanager
async def connected(source: MqttSource, will: Mapping[str, object]) -> AsyncIterator[Publishing]:
    """Connect, watch the topic of the source, and leave; if we vanish, the broker publishes the will there.

    Raises
    ------
    PortUnavailableError
        If the broker is not there, or does not let us in; the text says what to do.
    """
    client = aiomqtt.Client(
        source.host,
        source.port,
        username=source.user,
        password=source.password,
        identifier=source.client_id,
        protocol=aiomqtt.ProtocolVersion.V5,
        clean_start=True,
        keepalive=KEEPALIVE_S,
        timeout=ANSWER_LIMIT_S,
        will=aiomqtt.Will(source.topic, json.dumps(will).encode(), AT_LEAST_ONCE, retain=True),
        max_inflight_messages=WINDOW,
        tls_context=await asyncio.to_thread(tls_context_of, source, source.tls) if source.tls else None,
    )
    publishing = Publishing(source, client)
    await enter(client, source)
    try:
        await _watch(client, source)
        yield publishing
    finally:
        await leave(client)


async def _watch(client: aiomqtt.Client, source: MqttSource) -> None:
    options = SubscribeOptions(qos=AT_LEAST_ONCE, retainAsPublished=True, retainHandling=RETAINED_AND_OWN)
    try:
        (granted,) = await client.subscribe(source.topic, options=options)
    except aiomqtt.MqttError as error:
        raise refusal_of(source, error) from error
    code = granted if isinstance(granted, int) else granted.value
    if code >= FIRST_FAILURE:
        text = f"the broker does not let us read our own status ({granted}); correct its access rules"
        raise PortForbiddenError(str(source), text)

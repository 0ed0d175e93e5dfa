"""One connection to an MQTT broker; the only place of hearing that knows the client library.

A fresh client for each connection: one that is entered again returns before the broker has answered. The
client's own acknowledging is switched off, since it would come before anything is kept.
"""

import asyncio
import contextlib
import ssl
from collections import deque
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Any, Final

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from acquire.config import MqttSource, TlsSettings
from acquire.errors import PortAbsentError, PortForbiddenError, PortLostError, PortUnavailableError

KEEPALIVE_S: Final = 20  # [s] a broker that went away without a word is missed after at most 1.5 times this
ANSWER_LIMIT_S: Final = 4.0  # [s] longest wait for an answer of the broker
UNDER_WAY: Final = 20  # messages that the broker may send before the first of them is acknowledged
AT_LEAST_ONCE: Final = 1  # quality of service
NO_RETAINED: Final = 2  # "retain handling": an old value at each new connection would be a reading once more
FIRST_FAILURE: Final = 0x80  # reason codes from here on are failures (MQTT 5.0, section 2.4)
TAKEN_OVER: Final = 0x8E  # reason code "session taken over" (MQTT 5.0, section 2.4)
FORBIDDEN: Final = frozenset({0x86, 0x87, 0x8A, 0x8C})  # bad user or password, not authorized, banned, method


@dataclass(frozen=True, slots=True)
class Message:
    """What was published, and what is needed to acknowledge it."""

    topic: str
    payload: bytes
    number: int
    """The broker's, used again after the acknowledgement."""
    quality: int
    sent_again: bool
    """The broker's mark."""


class Connection:
    """A client that is connected and subscribed."""

    def __init__(self, source: MqttSource, client: aiomqtt.Client, marks: deque[bool]) -> None:
        self._source = source
        self._client = client
        self._marks = marks

    async def messages(self) -> AsyncIterator[Message]:
        """Yield what comes, until the connection is lost. Raises `PortLostError` then."""
        try:
            async for message in self._client.messages:
                again = self._marks.popleft()
                yield Message(str(message.topic), message.payload, message.mid, message.qos, again)
        except aiomqtt.MqttError as error:
            raise PortLostError(str(self._source), loss_of(self._source, error)) from error

    def acknowledge(self, message: Message) -> None:
        """Let the broker forget a message. Does nothing if the connection is gone: it will ask again."""
        inner(self._client).ack(message.number, message.quality)

    async def leave(self) -> None:
        """Say goodbye, in finite time and whatever state the connection is in."""
        await leave(self._client)


async def leave(client: aiomqtt.Client) -> None:
    """Disconnect a client, in finite time and whatever state it is in."""
    with contextlib.suppress(aiomqtt.MqttError):
        await client.__aexit__(None, None, None)
    lost = client._disconnected  # noqa: SLF001 - the library leaves its error for the collector
    if lost.done():
        lost.exception()


async def enter(client: aiomqtt.Client, source: MqttSource) -> None:
    """Connect a fresh client. Raises `PortUnavailableError`; the text says what to do."""
    inner(client).connect_timeout = ANSWER_LIMIT_S
    try:
        await client.__aenter__()
    except BaseException as error:
        inner(client).disconnect()  # a connection half made would go on by itself
        if isinstance(error, aiomqtt.MqttError):
            raise refusal_of(source, error) from error
        raise


async def connect(source: MqttSource) -> Connection:
    """Connect to the broker and subscribe.

    Raises
    ------
    PortUnavailableError
        If it does not answer, does not let us in, or does not let us subscribe; the text says what to do.
    """
    marks: deque[bool] = deque()
    client = await _client(source)
    _watch(client, marks)
    await enter(client, source)
    connection = Connection(source, client, marks)
    try:
        await _subscribe(client, source)
    except BaseException:
        await connection.leave()
        raise
    return connection


async def _client(source: MqttSource) -> aiomqtt.Client:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = source.session_expiry_s
    properties.ReceiveMaximum = UNDER_WAY
    return aiomqtt.Client(
        source.host,
        source.port,
        username=source.user,
        password=source.password,
        identifier=source.client_id,
        protocol=aiomqtt.ProtocolVersion.V5,
        clean_start=False,
        keepalive=KEEPALIVE_S,
        timeout=ANSWER_LIMIT_S,
        properties=properties,
        tls_context=await asyncio.to_thread(tls_context_of, source, source.tls) if source.tls else None,
    )


def tls_context_of(source: MqttSource, tls: TlsSettings) -> ssl.SSLContext:
    """Return how a connection is encrypted; reads files. Raises `PortUnavailableError`."""
    try:
        context = ssl.create_default_context(cafile=tls.authorities)
        context.sslsocket_class = _ClosedIfRefused
        if tls.certificate is not None:
            context.load_cert_chain(tls.certificate, tls.key)
    except (OSError, ssl.SSLError) as error:
        text = f"the certificates for {source} cannot be used: {error}; correct the files that tls names"
        raise PortUnavailableError(str(source), text) from error
    return context


class _ClosedIfRefused(ssl.SSLSocket):
    """A socket that does not stay open after a handshake that failed, as the library leaves it."""

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002 - the signature is the system's
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def inner(client: aiomqtt.Client) -> Any:
    """Return the client below, for what the one above hides: acknowledging, marks and reasons."""
    return client._client  # noqa: SLF001


def _watch(client: aiomqtt.Client, marks: deque[bool]) -> None:
    """Acknowledge by ourselves, and note of each message whether the broker sends it again."""
    lower = inner(client)
    lower.manual_ack_set(on=True)
    hand_on = lower.on_message

    def on_message(below: object, userdata: object, message: Any) -> None:
        marks.append(message.dup)
        hand_on(below, userdata, message)

    lower.on_message = on_message


async def _subscribe(client: aiomqtt.Client, source: MqttSource) -> None:
    options = SubscribeOptions(qos=AT_LEAST_ONCE, retainHandling=NO_RETAINED)
    try:
        (granted,) = await client.subscribe(source.topic, options=options)
    except aiomqtt.MqttError as error:
        raise refusal_of(source, error) from error
    code = granted if isinstance(granted, int) else granted.value
    if code >= FIRST_FAILURE:
        text = f"the broker does not let us subscribe to {source} ({granted}); correct its access rules"
        raise PortForbiddenError(str(source), text)


def refusal_of(source: MqttSource, error: aiomqtt.MqttError) -> PortUnavailableError:
    """Say why there is no connection."""
    code = _code(error)
    if code in FORBIDDEN:
        text = f"the broker does not let us in at {source} ({_reason(error)}); correct user and password"
        return PortForbiddenError(str(source), text)
    if code is not None and code >= FIRST_FAILURE:
        return PortUnavailableError(str(source), f"the broker refused {source}: {_reason(error)}")
    if "CERTIFICATE_VERIFY_FAILED" in str(error):
        text = f"the certificate of the broker at {source} is not trusted: {error}; name its authority in tls"
        return PortForbiddenError(str(source), text)
    text = f"no broker answers at {source} ({error}); is it running, and is the address right?"
    return PortAbsentError(str(source), text)


def loss_of(source: MqttSource, error: aiomqtt.MqttError) -> str:
    """Say why a connection was lost."""
    cause = error.__cause__
    if _code(cause) == TAKEN_OVER:
        return f"another program took over {source}: it uses the client id {source.client_id!r} too"
    return (
        f"the broker at {source} was lost ({cause or error}); if this happens again and again although it "
        f"runs, another program uses the client id {source.client_id!r} too"
    )


def _code(error: BaseException | None) -> int | None:
    code = getattr(error, "rc", None)
    return getattr(code, "value", code)


def _reason(error: aiomqtt.MqttError) -> str:
    return str(getattr(error, "rc", error))

"""A topic of an MQTT broker as a line: each message is a piece of bytes, acknowledged once it is kept.

The broker holds what is not acknowledged, so nothing is lost while the line or the store is away. It may send
a message again whose acknowledgement it did not get; those are told by their number and not taken twice.
"""

import asyncio
from collections import deque
from typing import Final

import structlog

from acquire.clock import Clock, now
from acquire.config import MqttSource
from acquire.errors import TransportError
from acquire.events import Instant
from acquire.lines.mqtt_connection import Connection, Message, connect
from acquire.lines.mqtt_repeats import Repeats
from acquire.lines.payload import ReadPayload, plain
from acquire.lines.transport import Backlog, Batch, End, Opened, Piece
from acquire.sink import Ending

TURN_BYTES: Final = 16 << 10  # [bytes] most that one turn takes, so that a flood on one line delays no other

log = structlog.get_logger()


class MqttLine:
    """One subscription, connected as often as the broker comes back."""

    def __init__(self, source: MqttSource, clock: Clock, read_payload: ReadPayload = plain) -> None:
        self._source = source
        self._clock = clock
        self._read_payload = read_payload
        self._repeats = Repeats()
        self._connection: Connection | None = None
        self._hearing: asyncio.Task[None] | None = None
        self._waiting: deque[tuple[Instant, Message]] = deque()
        self._taken: list[Message] = []  # and not yet known to be kept
        self._end: End | None = None
        self._error: BaseException | None = None
        self._something = asyncio.Event()

    @property
    def takes_bytes(self) -> bool:
        """Never: a topic is only listened to."""
        return False

    @property
    def comes_again(self) -> bool:
        """Always: the broker holds what was not acknowledged."""
        return True

    @property
    def last_round_ns(self) -> int | None:
        """Always None: no thread reads here. [ns]"""
        return None

    @property
    def backlog(self) -> Backlog:
        """Messages that came and were not taken yet; none is lost, since the broker holds them too."""
        return Backlog(sum(len(message.payload) for _, message in self._waiting))

    async def open(self) -> Opened:
        """Connect and subscribe.

        Raises
        ------
        PortUnavailableError
            If the broker is not there, or does not let us in.
        """
        self._waiting.clear()
        self._taken.clear()
        self._end, self._error = None, None
        self._connection = await connect(self._source)
        self._hearing = asyncio.create_task(self._hear(self._connection), name=f"hear {self._source}")
        settings = f"QoS 1, client {self._source.client_id}"
        return Opened(str(self._source), settings, now(self._clock))

    async def wait(self) -> Instant | None:
        """Wait until there is something; return when the first message came, None at an end without one."""
        while not (self._waiting or self._end or self._error):
            self._something.clear()
            await self._something.wait()
        if self._error is not None:
            raise self._error
        return self._waiting[0][0] if self._waiting and self._end is None else None

    def take(self) -> Batch:
        """Return, once, the first of what is here, in whole messages; the end comes with the last."""
        pieces: list[Piece] = []
        size = 0
        while self._waiting and size < TURN_BYTES:
            at, message = self._waiting.popleft()
            self._taken.append(message)
            pieces += self._read_payload(message.payload, at)
            size += len(message.payload)
        return Batch(tuple(pieces), end=None if self._waiting else self._end)

    def kept(self) -> None:
        """Acknowledge what was taken, so that the broker may forget it."""
        if self._connection is not None:
            for message in self._taken:
                self._connection.acknowledge(message)
                self._repeats.acknowledged(message)
        self._taken.clear()

    async def send(self, data: bytes) -> None:
        """Refuse."""
        text = f"{len(data)} bytes cannot be sent to {self._source}: a topic is only listened to"
        raise TransportError(str(self._source), text)

    def stop(self) -> None:
        """End after what waits."""
        self._finish(Ending.STOPPED, "the line was stopped")

    async def close(self) -> None:
        """Leave the broker; it keeps the subscription, and what comes meanwhile."""
        if self._hearing is not None:
            self._hearing.cancel()
            await asyncio.gather(self._hearing, return_exceptions=True)
            self._hearing = None
        if self._connection is not None:
            connection, self._connection = self._connection, None
            await connection.leave()

    async def _hear(self, connection: Connection) -> None:
        try:
            async for message in connection.messages():
                self._arrived(connection, message)
        except TransportError as error:
            self._finish(Ending.LOST, str(error))
        except Exception as error:  # whoever awaits the bytes must get it, whatever it is
            self._error = error
            self._something.set()

    def _arrived(self, connection: Connection, message: Message) -> None:
        if message.topic != self._source.topic:  # of a subscription that an earlier configuration made
            log.warning("mqtt.other_topic", line=str(self._source), topic=message.topic)
            connection.acknowledge(message)
        elif self._repeats.knows(message):
            log.info("mqtt.repeated", line=str(self._source), number=message.number)
            connection.acknowledge(message)
        else:
            self._waiting.append((now(self._clock), message))
            self._something.set()

    def _finish(self, ending: Ending, why: str) -> None:
        self._end = self._end or End(ending, why, now(self._clock))
        self._something.set()

"""Keep up the connection to a broker, hold the name of the site there, and publish whatever waits.

A retained status says to everybody whether the site is online; if we vanish, the broker says that we did.
"""

import asyncio
import contextlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, Protocol

import structlog

from acquire.backoff import Backoff
from acquire.clock import NS_PER_S, Clock, within
from acquire.config import MqttSource
from acquire.errors import PortForbiddenError, TransportError
from api.times import rfc3339
from storage.writer import Writer
from tundish.publish import Publishing, connected
from tundish.publish_claim import Claim, Seen
from tundish.publish_messages import Sender
from tundish.side_by_side import side_by_side

CLAIM_LIMIT_S: Final = 5.0  # [s] until our own question must have come back
ANSWER_WITHIN_S: Final = 3.0  # [s] for somebody who holds our name; longer is taken for dead
REFUSED_AGAIN_S: Final = 60.0  # [s] how often what was refused is tried again
CATCH_UP_S: Final = 2.0  # [s] how long a stop waits for what is still unpublished

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class PublishState:
    """How publishing is doing."""

    state: str
    """connecting, online, waiting or stopped."""
    since_us: int
    why: str = ""
    """Plain words; empty while all is well."""
    last_taken_us: int | None = None
    """When the broker last took a message."""


class _Seen:
    """What came back of our own words."""

    def __init__(self) -> None:
        self.asked, self.ours = asyncio.Event(), asyncio.Event()


class Outbox(Protocol):
    """What is to be published, and how far that has come."""

    async def open(self) -> None:
        """Find out how far it has come."""

    async def publish_next(self, broker: Publishing) -> bool:
        """Publish what is next and note it; False if there was nothing. Raises `TransportError`."""

    async def publish_refused(self, broker: Publishing) -> None:
        """Try again what the broker refused. Raises `TransportError`."""


class Publisher:
    """Keeps the connection to one broker and lets outboxes publish over it, while the daemon runs."""

    def __init__(
        self,
        writer: Writer,
        source: MqttSource,
        sender: Sender,
        outboxes: Sequence[Outbox],
        *,
        clock: Clock,
        captures: bool = False,
        on_change: Callable[[PublishState], object] = lambda _state: None,
    ) -> None:
        self._writer = writer
        self._source = source
        self._sender = sender
        self._outboxes = outboxes
        self._clock = clock
        self.captures = captures
        """Whether captures are published too."""
        self._on_change = on_change
        self._backoff = Backoff()
        self._bells = [asyncio.Event() for _ in outboxes]
        self._stopping = asyncio.Event()
        self._head_seen = 0
        self._state = PublishState("connecting", clock.utc_us())

    @property
    def broker(self) -> str:
        """Where it publishes, as a URL without anything secret."""
        return str(self._source)

    @property
    def state(self) -> PublishState:
        """How publishing is doing at this moment."""
        return self._state

    def stop(self) -> None:
        """Begin to end: what is unpublished gets a moment, the rest its turn after the next start."""
        self._stopping.set()
        self._wake()

    async def run(self) -> None:
        """Publish until told to stop, over as many connections as it takes."""
        loop = asyncio.get_running_loop()
        end = self._writer.subscribe(partial(self._ring, loop))
        try:
            while not self._stopping.is_set():
                opened_ns = self._clock.monotonic_ns()
                try:
                    for outbox in self._outboxes:
                        await outbox.open()
                    await self._one_connection()
                except TransportError as error:
                    self._enter("waiting", str(error))
                except Exception as error:
                    log.exception("publish.failed")
                    self._enter("waiting", f"a fault of the program: {type(error).__name__}: {error}")
                self._backoff.was_open(self._clock.monotonic_ns() - opened_ns)
                if not self._stopping.is_set():
                    await within(self._clock, self._stopping.wait(), self._backoff.next_s())
            self._enter("stopped", "")
        finally:
            end()

    async def _one_connection(self) -> None:
        claim = Claim(self._sender, rfc3339(self._clock.utc_us()))
        source = replace(self._source, client_id=f"{self._source.client_id}-{claim.connection}")
        async with connected(source, claim.says("offline")) as broker:
            seen = _Seen()
            watching = asyncio.create_task(self._watch(broker, claim, seen))
            working = asyncio.create_task(self._work(broker, claim, seen))
            try:
                await asyncio.wait({watching, working}, return_when=asyncio.FIRST_COMPLETED)
                for task in (watching, working):
                    if task.done():
                        task.result()
            finally:
                for task in (watching, working):
                    task.cancel()
                await asyncio.gather(watching, working, return_exceptions=True)

    async def _watch(self, broker: Publishing, claim: Claim, seen: "_Seen") -> None:
        """See who else publishes as this site, and that the connection still stands."""
        async for payload in broker.seen():
            match claim.saw(payload):
                case Seen.TAKEN:
                    raise PortForbiddenError(str(self._source), self._taken(claim))
                case Seen.ASKED:
                    seen.asked.set()
                case Seen.OURS:
                    seen.ours.set()
                case Seen.DISPUTED:
                    await self._say(broker, claim, "online")

    def _taken(self, claim: Claim) -> str:
        return (
            f"another daemon publishes as site {self._sender.site!r} ({claim.other}); "
            "give each its own publish.site"
        )

    async def _claim(self, broker: Publishing, claim: Claim, seen: "_Seen") -> None:
        """Say that the site is online, unless somebody else is; what stands there gets time to answer."""
        await self._say(broker, claim, "asking", retain=False)
        await self._comes_back(seen.asked)
        if claim.stands:
            await self._clock.sleep(ANSWER_WITHIN_S)
        await self._say(broker, claim, "online")
        await self._comes_back(seen.ours)
        self._enter("online", "")

    async def _work(self, broker: Publishing, claim: Claim, seen: "_Seen") -> None:
        """Let the outboxes publish side by side: none waits for what another one waits for."""
        await self._claim(broker, claim, seen)
        pairs = zip(self._outboxes, self._bells, strict=True)
        await side_by_side(self._work_off(broker, outbox, bell) for outbox, bell in pairs)
        await self._say(broker, claim, "offline")

    async def _work_off(self, broker: Publishing, outbox: Outbox, bell: asyncio.Event) -> None:
        """Publish what one outbox has, until told to stop."""
        again_ns = self._clock.monotonic_ns()
        while not self._stopping.is_set():
            if self._clock.monotonic_ns() >= again_ns:
                again_ns += int(REFUSED_AGAIN_S * NS_PER_S)
                await outbox.publish_refused(broker)
            bell.clear()
            if not (await self._publish_next(broker, outbox) or self._stopping.is_set()):
                await within(self._clock, bell.wait(), REFUSED_AGAIN_S)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(CATCH_UP_S):
                while await self._publish_next(broker, outbox):
                    pass

    async def _publish_next(self, broker: Publishing, outbox: Outbox) -> bool:
        found = await outbox.publish_next(broker)
        if found:
            self._state = replace(self._state, last_taken_us=self._clock.utc_us())
        return found

    async def _comes_back(self, seen: asyncio.Event) -> None:
        try:
            async with asyncio.timeout(CLAIM_LIMIT_S):
                await seen.wait()
        except TimeoutError as error:
            text = f"{self._source} does not show us our own status; the access rules must let us read it"
            raise PortForbiddenError(str(self._source), text) from error

    async def _say(self, broker: Publishing, claim: Claim, state: str, *, retain: bool = True) -> None:
        payload = json.dumps(claim.says(state)).encode()
        why = await broker.publish(self._source.topic, payload, retain=retain)
        if why is not None:
            text = f"the broker refused our status at {self._source} ({why}); correct its access rules"
            raise PortForbiddenError(str(self._source), text)

    def _ring(self, loop: asyncio.AbstractEventLoop, head: int) -> None:
        """Wake up if the ledger grew; beats of the heart alone do not count. From the writer's thread."""
        if head != self._head_seen:
            self._head_seen = head
            with contextlib.suppress(RuntimeError):  # the loop is closed
                loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        for bell in self._bells:
            bell.set()

    def _enter(self, state: str, why: str) -> None:
        if (state, why) != (self._state.state, self._state.why):
            say = log.info if not why else log.warning
            say(f"publish.{state}", broker=str(self._source), why=why)
            self._state = replace(self._state, state=state, why=why, since_us=self._clock.utc_us())
            self._on_change(self._state)

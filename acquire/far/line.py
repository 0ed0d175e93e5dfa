"""One line of a far bench: what it published is taken once, in its order, with its own times.

Each message says which event of its line came before it. So one that comes twice is known, and one that the
broker lost is missed, and fetched from the far bench itself.
"""

import asyncio
from dataclasses import dataclass
from typing import Final

from acquire.backoff import Backoff
from acquire.clock import Clock, now, within
from acquire.config import FarSource
from acquire.driver import DriverFactory
from acquire.errors import PortUnavailableError, TransportError
from acquire.events import Instant
from acquire.far.memory import FarFetchError, FarMemory, Fetch
from acquire.far.message import FarEvent, FarMessage, FarMessageError, read_message
from acquire.far.taking import FarTaking, HeldError
from acquire.keeping import TOOK_NO_MORE
from acquire.line_record import LineRecord
from acquire.line_state import Condition
from acquire.lines.mqtt_line import MqttLine
from acquire.lines.transport import Backlog
from acquire.sink import Ending, FarPlace, Sink, SinkFullError
from acquire.turns import Turns

OFF_US: Final = 60_000_000  # [µs] a far clock that is off by more is told of


@dataclass(frozen=True, slots=True)
class FarParts:
    """What a far line stands on."""

    memory: FarMemory
    store_kind: str
    """Of the store here; numbers of another kind are not taken into it."""
    fetch: Fetch | None = None
    """None if the far bench cannot be asked."""
    turns: Turns | None = None
    """Where the driver runs; None lets it run on the loop."""


class FarLine:
    """Runs until it is stopped; the broker may come and go, and so may the far bench."""

    def __init__(
        self,
        source: FarSource,
        driver: DriverFactory,
        sink: Sink,
        record: LineRecord,
        *,
        clock: Clock,
        backoff: Backoff,
        parts: FarParts,
    ) -> None:
        self._source = source
        self._record = record
        self._clock = clock
        self._backoff = backoff
        self._parts = parts
        self._mqtt = MqttLine(source.mqtt, clock)
        self._taking = FarTaking(
            source, driver, sink, record, clock=clock, memory=parts.memory, turns=parts.turns
        )
        self._stopping = asyncio.Event()
        self._was_strange = False  # whether the last message was none of ours

    @property
    def last_round_ns(self) -> int | None:
        """Always None: no thread reads here. [ns]"""
        return None

    @property
    def backlog(self) -> Backlog:
        """What came and is not kept yet; none of it is lost, since the broker holds it."""
        return self._mqtt.backlog

    @property
    def unkept_since(self) -> Instant | None:
        """Always None: what is not kept comes again."""
        return None

    def signals(self) -> None:
        """Return None: there is no port."""

    def stop(self) -> None:
        """Begin to end: what came is still kept."""
        self._stopping.set()
        self._mqtt.stop()

    async def run(self) -> None:
        """Take what comes until the end. Raises nothing but cancellation; see the state for how it ended."""
        try:
            while not self._stopping.is_set():
                opened_ns = self._clock.monotonic_ns()
                why = await self._one_connection()
                self._backoff.was_open(self._clock.monotonic_ns() - opened_ns)
                if not self._stopping.is_set():
                    if why != self._record.state.why:
                        self._record.say("warning", "far.waiting", why=why)
                    self._record.enter(Condition.WAITING, now(self._clock), why)
                    await within(self._clock, self._stopping.wait(), self._backoff.next_s())
            await self._taking.leave(Ending.STOPPED, "the line was stopped")
            self._record.enter(Condition.STOPPED, now(self._clock), "the line was stopped")
        except Exception as error:
            why = f"{type(error).__name__}: {error}"
            self._record.say("error", "line.failed", why=why, exc_info=error)
            self._record.enter(Condition.FAILED, now(self._clock), why)
        finally:
            await self._mqtt.close()

    async def _one_connection(self) -> str:
        """Take what comes until the connection is lost or something cannot be taken; return why."""
        try:
            self._taking.place = await asyncio.to_thread(self._parts.memory.place, self._record.state.line)
            opened = await self._mqtt.open()
            self._record.enter(Condition.OPEN, opened.at, device=opened.device)
            while True:
                await self._mqtt.wait()
                batch = self._mqtt.take()
                for piece in batch.pieces:
                    await self._message(piece.data, piece.at)
                self._mqtt.kept()
                if batch.end is not None:
                    return batch.end.why
        except (PortUnavailableError, TransportError) as error:
            return str(error)
        except (HeldError, SinkFullError) as error:
            why = str(error) if isinstance(error, HeldError) else TOOK_NO_MORE
            await self._taking.leave(Ending.LOST, why)
            return why
        finally:
            await self._mqtt.close()

    async def _message(self, payload: bytes, at: Instant) -> None:
        try:
            message = read_message(payload)
            self._must_be_ours(message)
        except FarMessageError as error:
            if error.is_newer:
                raise HeldError(str(error)) from error
            self._record.say("warning", "far.refused", why=str(error), size=len(payload))
            self._record.enter(Condition.UNRECOGNISED, at, str(error))
            self._was_strange = True
            return
        if message.store_kind != self._parts.store_kind:
            raise HeldError(
                f"the far bench's store is of the kind {message.store_kind}, this one is "
                f"{self._parts.store_kind}: they do not mix; collect it into a store of its kind"
            )
        self._record.contact(at)
        await self._take_in_turn(message)
        self._say_clock(at.utc_us - message.sent_at_us, at)

    def _must_be_ours(self, message: FarMessage) -> None:
        if (message.site, message.line) != (self._source.site, self._source.line):
            raise FarMessageError(
                f"a message of line {message.line!r:.60} of site {message.site!r:.60} came under the topic "
                f"of {self._source.line!r} of {self._source.site!r}; it was not taken"
            )

    async def _take_in_turn(self, message: FarMessage) -> None:
        """Take what is new of a message, and before it what is missing."""
        place = self._place_of(message.store)
        events = [event for event in message.events if event.revision > place.revision]
        if not events:
            return
        if not place.revision:  # at first contact, begin with the capture that is open there
            begin = message.previous if events[0].capture is None else events[0].capture - 1
            place = self._taking.place = FarPlace(message.store, min(begin, message.previous))
        if message.previous > place.revision:
            await self._fetch(place, message.previous, events[0])
        await self._taking.take(message.store, events)

    def _place_of(self, store: str) -> FarPlace:
        place = self._taking.place
        if place is not None and place.store != store:
            self._record.say("warning", "far.other_store", before=place.store, now=store)
        return place if place is not None and place.store == store else FarPlace(store, 0)

    async def _fetch(self, place: FarPlace, up_to: int, first: FarEvent) -> None:
        """Fetch from the far bench what the broker did not bring."""
        if self._parts.fetch is None:
            await self._taking.miss(place, up_to, first)
            return
        self._record.say("warning", "far.fetching", after=place.revision, up_to=up_to)
        while place.revision < up_to:
            try:
                payload = await asyncio.to_thread(self._parts.fetch, place.revision)
                message = read_message(payload)
            except (FarFetchError, FarMessageError) as error:
                text = f"what happened after entry {place.revision} of the far bench is missing: {error}"
                raise HeldError(text) from error
            events = [event for event in message.events if place.revision < event.revision <= up_to]
            if (message.store, message.line) != (place.store, self._source.line) or not events:
                raise HeldError(
                    f"what happened after entry {place.revision} of store {place.store} is missing, and "
                    f"{self._source.url} does not have it; does the url lead to that far bench?"
                )
            await self._taking.take(place.store, events)
            place = FarPlace(place.store, events[-1].revision)

    def _say_clock(self, behind_us: int, at: Instant) -> None:
        why = ""
        if behind_us < -OFF_US:
            why = f"the clock of the far bench is {-behind_us / 1e6:.0f} s ahead of ours; set it right"
        elif behind_us > OFF_US:
            why = (
                f"what came last was sent {behind_us / 1e6:.0f} s ago by the clock of the far bench: it "
                "waited at the broker, or that clock is behind"
            )
        state = self._record.state
        if self._was_strange or (state.state is Condition.OPEN and bool(why) != bool(state.why)):
            self._record.enter(Condition.OPEN, at, why)
            self._was_strange = False

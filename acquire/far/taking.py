"""From what happened at a far bench to captures here: each event once, those of one capture together."""

import asyncio
from collections.abc import Sequence
from typing import Final

from acquire.clock import Clock, now
from acquire.config import FarSource
from acquire.driver import DriverFactory
from acquire.events import Instant
from acquire.far.capture import FarCapture
from acquire.far.memory import Continued, FarMemory
from acquire.far.message import FarEvent
from acquire.keeping import TOOK_NO_MORE
from acquire.line_record import LineRecord
from acquire.sink import Chunk, Direction, Ending, FarPart, FarPlace, Gap, Opening, Sink, SinkFullError
from acquire.turns import Turns

_NOT_FETCHED: Final = "messages of the far bench were lost on the way; the line names no url to fetch them"


class HeldError(Exception):
    """What came cannot be taken now; it waits at the broker, and the text says for what."""


class FarTaking:
    """The captures of one line of a far bench, one after the other."""

    def __init__(
        self,
        source: FarSource,
        driver: DriverFactory,
        sink: Sink,
        record: LineRecord,
        *,
        clock: Clock,
        memory: FarMemory,
        turns: Turns | None = None,
    ) -> None:
        self._source = source
        self._driver = driver
        self._sink = sink
        self._record = record
        self._clock = clock
        self._memory = memory
        self._turns = turns
        self._capture: FarCapture | None = None
        self.place: FarPlace | None = None
        """How far the line is taken."""

    async def miss(self, place: FarPlace, up_to: int, first: FarEvent) -> None:
        """Take note that events were lost on the way for good."""
        await self.leave(Ending.LOST, _NOT_FETCHED)
        at = Instant(first.at_us, 0)
        state = self._record.state
        missed = FarPlace(place.store, up_to)
        await self._sink.gap(Gap(state.line, state.instrument, at, at, _NOT_FETCHED, None, missed))
        self.place = missed

    async def take(self, store: str, events: Sequence[FarEvent]) -> None:
        """Take events in their order, those of one capture together."""
        together: list[FarEvent] = []
        for event in events:
            if event.what in ("heard", "sent", "silent"):
                if together and together[-1].capture != event.capture:
                    await self._hear(store, together)
                    together = []
                together.append(event)
                continue
            await self._hear(store, together)
            together = []
            await self._take_one(store, event)
        await self._hear(store, together)

    async def _take_one(self, store: str, event: FarEvent) -> None:
        place = FarPlace(store, event.revision)
        match event.what:
            case "opened":
                await self.leave(Ending.LOST, "the far bench began another capture")
                self._capture = await self._opened(event, place)
            case "closed":
                if self._capture is None or self._capture.number != event.capture:
                    self._capture = await self._continue(store, event)
                capture, ending = self._capture, Ending(event.ending or Ending.LOST)
                found = await capture.finish(ending, event.why or "", capture.instant(event.at_us), place)
                self._record.decoded(found, Instant(event.at_us, 0))
                self._capture = None
            case _:
                begin, end = Instant(event.begin_us, 0), Instant(event.at_us, 0)
                state = self._record.state
                gap = Gap(state.line, state.instrument, begin, end, event.why or "", event.lost_bytes, place)
                await self._sink.gap(gap)
        self.place = place

    async def _hear(self, store: str, events: Sequence[FarEvent]) -> None:
        if not events:
            return
        capture = self._capture
        if capture is None or capture.number != events[0].capture:
            capture = self._capture = await self._continue(store, events[0])
        place = FarPlace(store, events[-1].revision)
        steps = [_step(capture, event) for event in events]
        found = await capture.hear(steps, place)
        self.place = place
        size = sum(len(chunk.data) for chunk, _ in steps if chunk and chunk.direction is Direction.HEARD)
        if size:
            self._record.heard(size, steps[-1][1])
        self._record.decoded(found, steps[-1][1])

    async def _opened(self, event: FarEvent, place: FarPlace) -> FarCapture:
        if event.instrument != self._source.instrument:
            raise HeldError(
                f"line {self._source.line!r} of the far bench listens to {event.instrument!r}, and this line "
                f"is for {self._source.instrument!r}; if that is meant, correct far_instrument"
            )
        part = FarPart(self._source.site, place.store, self._source.line, event.capture or 0, 0, 0)
        return await self._begin(event.device or "", event.settings or "", event.at_us, part, place)

    async def _continue(self, store: str, event: FarEvent) -> FarCapture:
        """Begin another part of a capture that was left amid it."""
        await self.leave(Ending.LOST, "the far bench began another capture")
        name, number = self._record.state.line, event.capture or 0
        known = await asyncio.to_thread(self._memory.continued, name, store, number)
        offset = event.offset or 0
        fresh = Continued(
            "", "", 0 if event.what == "sent" else offset, offset if event.what == "sent" else 0
        )
        known = known or fresh
        expected = {"heard": known.next_heard, "sent": known.next_sent}.get(event.what, offset)
        if expected != (event.offset if event.what in ("heard", "sent") else offset):
            known = Continued(known.device, known.settings, fresh.next_heard, fresh.next_sent)
        size = sum(len(chunk.data) for chunk in known.tail)
        part = FarPart(
            self._source.site, store, self._source.line, number, known.next_heard - size, known.next_sent
        )
        at_us = known.tail[0].at.utc_us if known.tail else event.at_us
        capture = await self._begin(known.device, known.settings, at_us, part, None)
        if known.tail:
            moments = [capture.instant(chunk.at.utc_us) for chunk in known.tail]
            chunks = [Chunk(at, chunk.data) for at, chunk in zip(moments, known.tail, strict=True)]
            await capture.hear([(chunk, chunk.at) for chunk in chunks], None)
        return capture

    async def _begin(
        self, device: str, settings: str, at_us: int, part: FarPart, place: FarPlace | None
    ) -> FarCapture:
        state = self._record.state
        opening = Opening(
            line=state.line,
            instrument=state.instrument,
            driver=self._driver.identity,
            device=f"{self._source.site}/{self._source.line} {device}".strip(),
            settings=settings,
            at=Instant(at_us, 0),
            far=part,
            place=place,
        )
        return FarCapture(part.capture, await self._sink.opened(opening), self._driver, self._turns)

    async def leave(self, ending: Ending, why: str) -> None:
        """Leave the capture that is being taken, wherever it is."""
        capture, self._capture = self._capture, None
        if capture is not None:
            try:
                await capture.leave(ending, why, now(self._clock))
            except SinkFullError:
                self._record.say("error", "line.unkept", why=TOOK_NO_MORE)


def _step(capture: FarCapture, event: FarEvent) -> tuple[Chunk | None, Instant]:
    at = capture.instant(event.at_us)
    return (None if event.what == "silent" else Chunk(at, event.data or b"", Direction(event.what))), at

"""One part of a capture of a far bench, read here by a driver that sends nothing."""

from collections.abc import Sequence

from acquire.accounting import Account
from acquire.decoding import decode
from acquire.driver import DriverFactory
from acquire.events import Event, Instant
from acquire.instants import NS_PER_US
from acquire.sink import CaptureSink, Chunk, Closing, Ending, FarPlace, Hearing
from acquire.turns import OnTheLoop, Turns


class FarCapture:
    """Time is the far bench's own: a frame that silence ends is ended by the silence there."""

    def __init__(
        self, number: int, sink: CaptureSink, driver: DriverFactory, turns: Turns | None = None
    ) -> None:
        """Take where it goes, who reads it, and where: here by default."""
        self.number = number
        """The far bench's."""
        self._sink = sink
        self._account = Account(driver)
        self._turns = turns or OnTheLoop()
        self._last_ns = 0

    def instant(self, at_us: int) -> Instant:
        """Return a moment by the far bench's clock; it never steps back within a capture. [µs]"""
        self._last_ns = max(self._last_ns, at_us * NS_PER_US)
        return Instant(at_us, self._last_ns)

    async def hear(
        self, steps: Sequence[tuple[Chunk | None, Instant]], place: FarPlace | None
    ) -> list[Event]:
        """Decode chunks and silences, each at its moment, and keep them all together with the place.

        Raises
        ------
        SinkFullError
            If nothing of it was kept.
        """
        hearings = await self._turns.take(lambda: [self._heard(chunk, at) for chunk, at in steps])
        hearings[-1] = hearings[-1]._replace(place=place)
        await self._sink.heard(*hearings)
        return [event for hearing in hearings for event in hearing.events]

    def _heard(self, chunk: Chunk | None, at: Instant) -> Hearing:
        chunks = () if chunk is None else (chunk,)
        events = tuple(decode(self._account, chunks, at))
        return Hearing(chunks, events, at, self._account.take_fault())

    async def finish(self, ending: Ending, why: str, at: Instant, place: FarPlace) -> Sequence[Event]:
        """Take the end of the capture at the far bench. Raises `SinkFullError`."""
        events = await self._turns.take(lambda: decode(self._account, (), at) + self._account.closed(at))
        fault = self._account.take_fault()
        if events or fault:
            await self._sink.heard(Hearing((), tuple(events), at, fault))
        await self._sink.closed(Closing(ending, why, at, place))
        return events

    async def leave(self, ending: Ending, why: str, at: Instant) -> None:
        """End this part amid the capture: what no frame accounts for begins the next one."""
        await self._sink.closed(Closing(ending, why, at))

"""A sink that keeps everything in lists, and is full or broken when it is told to be."""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field

from acquire.events import Event, FrameRefused
from acquire.sink import CaptureSink, Closing, Direction, Gap, Hearing, Opening, SinkFullError

PATIENCE_S = 10.0  # [s] a test that waits longer has failed


@dataclass
class FakeCapture:
    """One capture as the sink was told of it."""

    sink: "FakeSink"
    opening: Opening
    hearings: list[Hearing] = field(default_factory=list)
    closing: Closing | None = None

    async def heard(self, *hearings: Hearing) -> None:
        await self.sink.released.wait()
        self.sink.check()
        self.hearings += hearings
        self.sink.changed()

    async def closed(self, closing: Closing) -> None:
        self.sink.check()
        self.closing = closing
        self.sink.changed()

    @property
    def data(self) -> bytes:
        return self._joined(Direction.HEARD)

    @property
    def sent(self) -> bytes:
        return self._joined(Direction.SENT)

    @property
    def events(self) -> list[Event]:
        return [event for hearing in self.hearings for event in hearing.events]

    @property
    def refusals(self) -> list[tuple[bytes, str]]:
        """The refused bytes and the reason of each."""
        refused = [event for event in self.events if isinstance(event, FrameRefused)]
        return [(self.data[event.span.offset : event.span.end], event.reason) for event in refused]

    def accounts_for_every_byte(self) -> bool:
        spans = [event.span for event in self.events]
        begins = [span.offset for span in spans]
        ends = [span.end for span in spans]
        return begins == [0, *ends][: len(begins)] and (ends[-1:] or [0])[-1] == len(self.data)

    def _joined(self, direction: Direction) -> bytes:
        chunks = [chunk for hearing in self.hearings for chunk in hearing.chunks]
        return b"".join(chunk.data for chunk in chunks if chunk.direction is direction)


class FakeSink:
    """Keeps captures and gaps."""

    def __init__(self) -> None:
        self.captures: list[FakeCapture] = []
        self.gaps: list[Gap] = []
        self.full = False
        self.error: Exception | None = None
        self.released = asyncio.Event()
        self.released.set()
        self._changed = asyncio.Event()

    def hold(self) -> None:
        """Let commits take until `release`."""
        self.released.clear()

    def release(self) -> None:
        self.released.set()

    async def opened(self, opening: Opening) -> CaptureSink:
        self.check()
        capture = FakeCapture(self, opening)
        self.captures.append(capture)
        self.changed()
        return capture

    async def gap(self, gap: Gap) -> None:
        self.check()
        self.gaps.append(gap)
        self.changed()

    def of(self, line: str) -> list[FakeCapture]:
        return [capture for capture in self.captures if capture.opening.line == line]

    def check(self) -> None:
        if self.full:
            raise SinkFullError("the store is full")
        if self.error is not None:
            raise self.error

    def changed(self) -> None:
        self._changed.set()

    async def until(self, holds: Callable[[], bool]) -> None:
        """Wait until something holds that depends on what is kept."""
        async with asyncio.timeout(PATIENCE_S):
            while not holds():
                self._changed.clear()
                await self._changed.wait()

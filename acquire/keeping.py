"""Bring what one line hears to the sink, and keep count of what the sink could not take."""

from collections.abc import Awaitable, Callable
from typing import Final

from acquire.accounting import Account
from acquire.capture import OpenCapture
from acquire.clock import NS_PER_S, Clock, now
from acquire.driver import DriverFactory
from acquire.events import Instant
from acquire.gaps import OpenGap
from acquire.gate import Gate
from acquire.line_record import LineRecord
from acquire.lines.transport import End, Opened
from acquire.sink import Chunk, Ending, Opening, Sink, SinkFullError
from acquire.turns import Turns

RETRY_NS: Final = 1 * NS_PER_S  # [ns] how often a full sink is asked again while the line is quiet

TOOK_NO_MORE: Final = "the store took no more"
_NO_ROOM: Final = "bytes came faster than they were taken"


class Keeper:
    """Captures and gaps of one line, one after the other.

    While the sink is full the line is still heard and its bytes are counted. When the sink takes things
    again, the capture that broke off is closed, the gap is kept, and another capture begins.
    """

    def __init__(
        self,
        sink: Sink,
        clock: Clock,
        driver: DriverFactory,
        record: LineRecord,
        *,
        comes_again: bool = False,
        turns: Turns | None = None,
    ) -> None:
        """Take where things go, and where the driver runs.

        `comes_again` says that what is not kept now will be heard once more.
        """
        self._sink = sink
        self._clock = clock
        self._driver = driver
        self._record = record
        self._comes_again = comes_again
        self._turns = turns
        self._gap = OpenGap(record.state.line, record.state.instrument)
        self._opened: Opened | None = None
        self._capture: OpenCapture | None = None
        self._end: End | None = None  # of a capture that still has to be closed
        self._full = False

    @property
    def is_full(self) -> bool:
        """Whether the sink did not take what it was last given."""
        return self._full

    @property
    def unkept_since(self) -> Instant | None:
        """When what the sink did not take was heard; None if it took everything."""
        return self._gap.since if self._full else None

    @property
    def next_deadline_ns(self) -> int | None:
        """Monotonic time at which :meth:`keep` wants to be called at the latest; None if never. [ns]"""
        if self._end is None and self._opened is None:
            return None
        if self._capture is None or self._end is not None:
            return self._clock.monotonic_ns() + RETRY_NS
        return self._capture.next_deadline_ns

    def not_heard(self, at: Instant, why: str) -> None:
        """Note that from now on the line is not heard."""
        self._gap.begin(at, why)

    async def begin(self, opened: Opened, *, may_send: bool) -> bytes:
        """Begin a capture; return what the driver wants to send first."""
        self._opened = opened
        return await self.keep((), opened.at, may_send=may_send)

    def rest(self) -> None:
        """Open no capture until the next one is begun."""
        self._opened = None

    async def keep(self, chunks: tuple[Chunk, ...], at: Instant, *, may_send: bool) -> bytes:
        """Keep what was heard up to this moment; return what may leave on the wire now."""
        if self._opened is None and not chunks:
            await self._unless_full(self._close_capture)
            return b""
        try:
            capture = self._capture
            if capture is None or self._end is not None:
                capture = await self._ready_capture(chunks[0].at if chunks else at)
            events, outgoing = await capture.hear(chunks, at, may_send=may_send)
        except SinkFullError:
            self._lose(chunks, at)
            return b""
        self._enter_full(full=False)
        if chunks:
            self._record.heard(_size(chunks), at)
        self._record.decoded(events, at)
        if outgoing:
            self._record.asked(at)
        return outgoing

    async def overflowed(self, size: int, at: Instant) -> None:
        """End the capture where bytes are missing: a frame must not be read across the hole. [bytes]"""
        self._record.overflowed(size)
        await self.finish(End(Ending.LOST, _NO_ROOM, at))
        self._gap.begin(at, _NO_ROOM, size)

    async def finish(self, end: End) -> None:
        """End the capture, now or when the sink takes things again."""
        self._end = self._end or end
        await self._unless_full(self._close_capture)

    async def settle(self) -> None:
        """Keep the gap that is still open, because the line will not be heard again."""
        await self._unless_full(lambda: self._gap.settle(self._sink, now(self._clock)))

    async def _ready_capture(self, at: Instant) -> OpenCapture:
        await self._close_capture()
        if self._capture is None:
            await self._gap.settle(self._sink, at)
            self._capture = await self._open_capture(at)
        return self._capture

    async def _open_capture(self, at: Instant) -> OpenCapture:
        if self._opened is None:
            raise RuntimeError("a capture was begun before its line was opened")
        state = self._record.state
        account = Account(self._driver, None if self._comes_again else Gate())
        opening = Opening(
            line=state.line,
            instrument=state.instrument,
            driver=self._driver.identity,
            device=self._opened.device,
            settings=self._opened.settings,
            at=at,
        )
        return OpenCapture(await self._sink.opened(opening), account, self._turns)

    async def _close_capture(self) -> None:
        if self._end is None:
            return
        if self._capture is not None:
            self._record.decoded(await self._capture.finish(self._end), self._end.at)
            self._enter_full(full=False)
        self._capture = self._end = None

    def _lose(self, chunks: tuple[Chunk, ...], at: Instant) -> None:
        self._enter_full(full=True)
        begin = chunks[0].at if chunks else at
        if self._capture is not None:
            self._end = self._end or End(Ending.LOST, TOOK_NO_MORE, begin)
        if self._comes_again:
            self._gap.begin(begin, TOOK_NO_MORE)
        elif chunks:
            self._gap.begin(begin, TOOK_NO_MORE, _size(chunks))
            self._record.unkept(_size(chunks))

    async def _unless_full(self, work: Callable[[], Awaitable[None]]) -> None:
        try:
            await work()
        except SinkFullError:
            self._enter_full(full=True)

    def _enter_full(self, *, full: bool) -> None:
        if full is self._full:
            return
        self._full = full
        if full:
            self._record.say("error", "line.unkept", why=TOOK_NO_MORE)
        else:
            self._record.say("warning", "line.kept_again", unkept_bytes=self._record.state.unkept_bytes)


def _size(chunks: tuple[Chunk, ...]) -> int:
    return sum(len(chunk.data) for chunk in chunks)

"""One open capture: chunks and what a driver makes of them, on their way to the sink."""

from collections.abc import Sequence
from typing import Final

from acquire.accounting import Account
from acquire.decoding import decode, take_outgoing
from acquire.events import Event, FrameRefused, Instant, Span
from acquire.lines.transport import End
from acquire.reasons import PARTIAL
from acquire.sink import CaptureSink, Chunk, Closing, Direction, Hearing, SinkFullError
from acquire.turns import OnTheLoop, Turns

_TAIL_LOST: Final = "the bytes that came after these could not be kept"


class OpenCapture:
    """Between an opening and its closing.

    If the sink once cannot take what was heard, driver and store no longer mean the same byte by the same
    offset. The capture then only waits for its end, and what comes later belongs into another one.
    """

    def __init__(self, sink: CaptureSink, account: Account, turns: Turns | None = None) -> None:
        """Take where it goes, what counts its bytes, and where its driver runs: here by default."""
        self._sink = sink
        self._turns = turns or OnTheLoop()
        self._account = account
        self._kept_bytes = 0
        self._accounted = 0  # end of the last kept event [bytes]
        self._last_words: Hearing | None = None
        self.broken = False
        """Whether the sink did not take something; only :meth:`finish` may follow."""

    @property
    def next_deadline_ns(self) -> int | None:
        """Monotonic time at which the driver wants to be told the time; None if never. [ns]"""
        return None if self.broken else self._account.next_deadline_ns

    async def hear(
        self, chunks: tuple[Chunk, ...], at: Instant, *, may_send: bool
    ) -> tuple[Sequence[Event], bytes]:
        """Decode and keep; return what was understood, and what may leave on the wire now that it is kept.

        What the driver wants to send is kept in the same commit, before it leaves: if the program dies in
        between, the store says more than the instrument heard, and the conversation ends as lost; the other
        way round an instrument could forget what no store knows.

        Raises
        ------
        SinkFullError
            If it was not kept. Nothing leaves on the wire then, so the instrument may send again.
        """
        events, outgoing = await self._turns.take(lambda: self._turn(chunks, at, may_send=may_send))
        sent = (Chunk(at, outgoing, Direction.SENT),) if outgoing else ()
        await self._keep(Hearing(chunks + sent, tuple(events), at, self._account.take_fault()))
        return events, outgoing

    def _turn(self, chunks: tuple[Chunk, ...], at: Instant, *, may_send: bool) -> tuple[list[Event], bytes]:
        events = decode(self._account, chunks, at)
        outgoing, more = take_outgoing(self._account, at) if may_send else (b"", [])
        return events + more, outgoing

    async def finish(self, end: End) -> Sequence[Event]:
        """Let what is unfinished come out as refused, and close; again, if the sink was full.

        Raises
        ------
        SinkFullError
            If the sink took no more; call again later.
        """
        if self._last_words is None:
            self._last_words = await self._turns.take(lambda: self._farewell(end.at))
        words = self._last_words
        await self._keep(words)
        self._last_words = Hearing((), (), end.at)
        await self._sink.closed(Closing(end.ending, end.why, end.at))
        return words.events

    def _farewell(self, at: Instant) -> Hearing:
        if not self.broken:
            events = decode(self._account, (), at) + self._account.closed(at)
            return Hearing((), tuple(events), at, self._account.take_fault())
        tail = Span(self._accounted, self._kept_bytes - self._accounted)
        refused = (FrameRefused(tail, PARTIAL, _TAIL_LOST),) if tail.length else ()
        return Hearing((), refused, at)

    async def _keep(self, hearing: Hearing) -> None:
        if not (hearing.chunks or hearing.events or hearing.fault):
            return
        try:
            await self._sink.heard(hearing)
        except SinkFullError:
            self.broken = True
            raise
        heard = (chunk for chunk in hearing.chunks if chunk.direction is Direction.HEARD)
        self._kept_bytes += sum(len(chunk.data) for chunk in heard)
        if hearing.events:
            self._accounted = hearing.events[-1].span.end

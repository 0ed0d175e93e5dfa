"""A line without a wire: the test says what comes and when it breaks."""

import asyncio
from collections import deque

from acquire.clock import Clock, now
from acquire.errors import NoPortError, PortAbsentError, PortUnavailableError, TransportError
from acquire.events import Instant
from acquire.lines.transport import Backlog, Batch, End, Opened, Piece
from acquire.sink import Ending


class FakeTransport:
    """Opens unless told otherwise, brings what `arrive` gives it, and remembers what was sent."""

    takes_bytes = True
    last_round_ns = None

    def __init__(self, clock: Clock) -> None:
        self.refusals: deque[PortUnavailableError | NoPortError] = deque()
        """What the next openings raise."""
        self.comes_again = False
        self.kept_bytes = 0
        """How much of what was taken is known to be durable."""
        self.captures_follow = False
        self.refuse_send: TransportError | None = None
        self.fault: Exception | None = None
        """Raised from `wait`: an error of the program."""
        self.sent: list[bytes] = []
        self.openings = 0
        self.closed = True
        self.hangs = False
        self._clock = clock
        self._pieces: list[Piece] = []
        self._taken_bytes = 0
        self._begins: Opened | None = None
        self._closes: End | None = None
        self._overflow_bytes = 0
        self._end: End | None = None
        self._something = asyncio.Event()

    @property
    def backlog(self) -> Backlog:
        since = self._pieces[0].at if self._pieces else None
        return Backlog(sum(len(piece.data) for piece in self._pieces), self._overflow_bytes, since)

    def absent(self, times: int) -> None:
        """Let the next openings fail."""
        text = "port /dev/fake does not exist; is the cable plugged in?"
        self.refusals.extend([PortAbsentError("/dev/fake", text)] * times)

    def arrive(self, data: bytes) -> None:
        """Let bytes come now."""
        self._pieces.append(Piece(now(self._clock), data))
        self._something.set()

    def begin(self, device: str) -> None:
        """Let a capture of its own begin with what arrives next."""
        self._begins = Opened(device, "", now(self._clock))
        self._something.set()

    def close_capture(self) -> None:
        """Let that capture end after what arrived."""
        self._closes = End(Ending.COMPLETE, "read to its end", now(self._clock))
        self._something.set()

    def overflow(self, size: int) -> None:
        """Let bytes come for which there is no room."""
        self._overflow_bytes += size
        self._something.set()

    def end(self, ending: Ending = Ending.LOST, why: str = "the cable was pulled") -> None:
        """Let nothing more come."""
        self._end = self._end or End(ending, why, now(self._clock))
        self._something.set()

    def fail(self, error: Exception) -> None:
        """Let the reader meet an error of ours."""
        self.fault = error
        self._something.set()

    async def open(self) -> Opened:
        self.openings += 1
        self._end = None
        if self.refusals:
            raise self.refusals.popleft()
        self.closed = False
        return Opened("/dev/fake", "9600 8N1", now(self._clock), self.captures_follow)

    async def wait(self) -> Instant | None:
        while not self._has_something():
            self._something.clear()
            await self._something.wait()
        if self.fault is not None:
            raise self.fault
        return self._pieces[0].at if self._pieces and not self._end else None

    def take(self) -> Batch:
        batch = Batch(tuple(self._pieces), self._overflow_bytes, self._end, self._begins, self._closes)
        self._taken_bytes += sum(len(piece.data) for piece in self._pieces)
        self._pieces, self._overflow_bytes, self._begins, self._closes = [], 0, None, None
        return batch

    def kept(self) -> None:
        self.kept_bytes = self._taken_bytes

    async def send(self, data: bytes) -> None:
        if self.refuse_send is not None:
            raise self.refuse_send
        self.sent.append(data)

    def stop(self) -> None:
        if not self.hangs:
            self.end(Ending.STOPPED, "the line was stopped")

    async def close(self) -> None:
        self.closed = True

    def _has_something(self) -> bool:
        marks = (self._begins, self._closes, self._end, self.fault)
        return bool(self._pieces or self._overflow_bytes) or any(mark is not None for mark in marks)

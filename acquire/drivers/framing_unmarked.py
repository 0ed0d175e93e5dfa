"""Cut a stream of bytes into frames that no end mark ends: by their length, or by silence."""

from acquire.drivers.cuts import Cut, RawFrame, maybe_half, rest
from acquire.drivers.framing import BLANK, SLICE_BYTES
from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PARTIAL, PLAIN_WORDS, TOO_LONG


class LengthFramer:
    """Frames of one length, each behind a start mark, or one behind the other from a silence on.

    A start mark inside a frame says that the frame before it was cut short.
    """

    def __init__(
        self,
        length: int,
        max_length: int,
        start: bytes = b"",
        filler: bytes = b"",
        *,
        distrust_first: bool = False,
    ) -> None:
        """Take the length with the start mark, and of how many bytes to refuse at once at most. [bytes]"""
        self._length = length
        self._max_length = max(length, max_length)
        self._start = start
        self._blank = BLANK + filler
        self._pending = b""
        self._offset = 0  # of the first pending byte in the capture [bytes]
        self._sure = not distrust_first

    @property
    def waits(self) -> bool:
        """Whether bytes wait for their end."""
        return bool(self._pending)

    def push(self, data: bytes) -> list[Cut]:
        """Take bytes and return what they complete."""
        cuts: list[Cut] = []
        for at in range(0, len(data), SLICE_BYTES):
            self._pending += data[at : at + SLICE_BYTES]
            begin, end = 0, -1
            while end:
                end = self._next(begin, cuts)
                begin = end or begin
            self._pending = self._pending[begin:]
            self._offset += begin
        return cuts

    def silent(self) -> list[Cut]:
        """Return what is not long enough yet; a beginning comes next."""
        left, self._pending = self._pending, b""
        offset, self._offset = self._offset, self._offset + len(left)
        self._sure = True
        return rest(Span(offset, len(left)), left, self._blank)

    def close(self) -> list[Cut]:
        """Return what is left without an end."""
        return self.silent()

    def _next(self, begin: int, cuts: list[Cut]) -> int:
        """Cut what comes next and return where it ends; 0 if nothing can be said of it yet."""
        if not self._start:
            return self._frame(begin, cuts) if self._sure else self._distrusted(begin, cuts)
        first = self._pending.find(self._start, begin)
        if first == begin:
            return self._frame(begin, cuts)
        most = self._max_length - len(self._start) + 1  # the rest may be a start mark that is arriving
        if first < 0 and len(self._pending) - begin < self._max_length:
            return 0
        end = min(first, begin + most) if first > begin else begin + most
        cuts.append(self._outside(begin, end))
        return end

    def _frame(self, begin: int, cuts: list[Cut]) -> int:
        end = begin + self._length
        if end > len(self._pending):
            return 0
        second = self._pending.find(self._start, begin + 1, end) if self._start else -1
        if second > begin:
            cuts.append(self._short(begin, second))
            return second
        span = Span(self._offset + begin, self._length)
        body = self._pending[begin + len(self._start) : end]
        cuts.append(RawFrame(span, body) if body.strip(self._blank) else Filler(span))
        return end

    def _distrusted(self, begin: int, cuts: list[Cut]) -> int:
        end = begin + self._max_length
        if end > len(self._pending):
            return 0
        cuts.append(maybe_half(Span(self._offset + begin, self._max_length)))
        return end

    def _outside(self, begin: int, end: int) -> Cut:
        span = Span(self._offset + begin, end - begin)
        if not self._pending[begin:end].strip(self._blank):
            return Filler(span)
        return FrameRefused(span, OUT_OF_FRAME, f"no start mark {self._start!r} stands before these bytes")

    def _short(self, begin: int, end: int) -> FrameRefused:
        detail = f"the next start mark came after {end - begin} of {self._length} bytes"
        return FrameRefused(Span(self._offset + begin, end - begin), PARTIAL, detail)


class SilenceFramer:
    """Frames with silence between them."""

    def __init__(self, max_length: int, filler: bytes = b"", *, distrust_first: bool = False) -> None:
        """Take the greatest length of a frame. [bytes]"""
        self._max_length = max_length
        self._blank = BLANK + filler
        self._pending = b""
        self._offset = 0  # of the first pending byte in the capture [bytes]
        self._sure = not distrust_first
        self._dropping = False  # the frame before this piece had no end yet

    @property
    def waits(self) -> bool:
        """Whether bytes wait for their end."""
        return bool(self._pending) or self._dropping

    def push(self, data: bytes) -> list[Cut]:
        """Take bytes and return those that are too many for one frame."""
        cuts: list[Cut] = []
        for at in range(0, len(data), SLICE_BYTES):
            self._pending += data[at : at + SLICE_BYTES]
            while len(self._pending) > self._max_length:
                self._dropping = True
                cuts.append(self._too_long(self._take(self._max_length)))
        return cuts

    def silent(self) -> list[Cut]:
        """Return what came before the silence as a frame."""
        body = self._pending
        span = self._take(len(body))
        dropping, self._dropping = self._dropping, False
        sure, self._sure = self._sure, True
        if not body:
            return []
        if dropping:
            return [self._too_long(span)]
        if not body.strip(self._blank):
            return [Filler(span)]
        return [RawFrame(span, body) if sure else maybe_half(span)]

    def close(self) -> list[Cut]:
        """Return what no silence ended."""
        left = self._pending
        return rest(self._take(len(left)), left, self._blank)

    def _take(self, size: int) -> Span:
        span = Span(self._offset, size)
        self._pending = self._pending[size:]
        self._offset += size
        return span

    def _too_long(self, span: Span) -> FrameRefused:
        return FrameRefused(span, TOO_LONG, f"{PLAIN_WORDS[TOO_LONG]} of {self._max_length} bytes")

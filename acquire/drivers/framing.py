"""Cut a stream of bytes into frames by end marks, and a start mark where there is one.

Without a start mark, a frame is what stands between two end marks. With one, a frame goes from the last start
mark before an end mark to that end mark, and what stands outside is no frame::

    body END body END            [lead] START body END [lead] START body END

The end mark that is complete first ends a frame, the longest if several are; so the pieces in which bytes
arrive make no difference. What has no end within the greatest length is refused piece by piece.
"""

from dataclasses import dataclass
from typing import Final

from acquire.drivers.cuts import Cut, RawFrame, maybe_half, rest
from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PLAIN_WORDS, TOO_LONG

BLANK: Final = b" \t\r\n"  # a frame of nothing else carries nothing
SLICE_BYTES: Final = 65_536  # bytes looked at together, so that a huge chunk is not copied whole [bytes]


@dataclass(frozen=True, slots=True)
class Marks:
    """Where frames begin and end."""

    ends: tuple[bytes, ...]
    start: bytes = b""
    """Empty if there is none."""
    max_length: int = 4096
    """Of a frame with its marks. [bytes]"""
    filler: bytes = b""
    """Single bytes that mean nothing before and after a frame."""
    idle: tuple[bytes, ...] = ()
    """Prompts: they mean nothing, and may stand without an end while the instrument waits."""
    distrust_first: bool = False
    """Refuse what comes before the first end mark, as it may be the second half of something."""
    behind_end: int = 0
    """Of a check behind the end mark, which belongs to the frame. [bytes]"""
    unit: int = 1
    """Of a character; marks begin where one does, counted from the opening. [bytes]"""


class Framer:
    """Cut the bytes of one capture into frames; memory is bounded by the greatest length of a frame."""

    def __init__(self, marks: Marks, offset: int = 0) -> None:
        self._ends = marks.ends
        self._start = marks.start
        self._max_length = marks.max_length
        self._behind_end = marks.behind_end
        self._keep_tail = marks.behind_end > 0
        self._unit = marks.unit
        # of a mark that may just be arriving [bytes]
        self._overlap = max(len(mark) for mark in marks.ends) - 1
        self._blank = BLANK + marks.filler + (b"\0" if marks.unit > 1 else b"")
        self._idle = marks.idle
        self._pending = b""
        self._offset = offset  # of the first pending byte in the capture [bytes]
        self._sure = not marks.distrust_first  # that what comes next is the beginning of a frame
        self._dropping = False  # the frame before this piece had no end yet

    @property
    def waits(self) -> bool:
        """Whether bytes wait for their end."""
        return bool(self._pending)

    def push(self, data: bytes) -> list[Cut]:
        """Take bytes and return what they complete."""
        if len(data) <= SLICE_BYTES:
            return self._push(data)
        cuts: list[Cut] = []
        for at in range(0, len(data), SLICE_BYTES):
            cuts += self._push(data[at : at + SLICE_BYTES])
        return cuts

    def silent(self) -> list[Cut]:
        """Return what has no end yet: silence says that none will come, and that a beginning comes next."""
        left, self._pending = self._pending, b""
        offset, self._offset = self._offset, self._offset + len(left)
        self._sure, self._dropping = True, False
        return rest(Span(offset, len(left)), left, self._blank, self._idle)

    def close(self) -> list[Cut]:
        """Return what is left without an end."""
        return self.silent()

    def _push(self, data: bytes) -> list[Cut]:
        pending = self._pending = self._pending + data if self._pending else data
        cuts: list[Cut] = []
        begin = self._plain_frames(pending, cuts)
        while True:
            found = self._first_end(begin)
            if found is not None:
                body_end, mark_end = found
                end = mark_end + self._behind_end
                if end > len(pending):
                    break
                cuts += self._segment(begin, body_end, end)
            elif len(pending) - begin >= self._max_length:
                end = self._end_of_piece(begin)
                cuts.append(self._piece(begin, end))
            else:
                break
            begin = end
        self._pending = pending[begin:]
        self._offset += begin
        return cuts

    def _plain_frames(self, pending: bytes, cuts: list[Cut]) -> int:
        """Cut as many frames as go the short way: one end mark and nothing else; return where they end."""
        if len(self._ends) > 1 or self._start or self._behind_end or self._unit > 1 or self._dropping:
            return 0
        (mark,) = self._ends
        size, most, offset, blank = len(mark), self._max_length, self._offset, self._blank
        bodies = pending.split(mark)
        bodies.pop()  # has no end yet
        begin = 0
        for body in bodies:
            length = len(body) + size
            if length > most:
                break
            span = Span(offset + begin, length)
            if not body.strip(blank):
                cuts.append(Filler(span))
            elif self._sure:
                cuts.append(RawFrame(span, body))
            else:
                cuts.append(maybe_half(span))
            self._sure = True
            begin += length
        return begin

    def _first_end(self, begin: int) -> tuple[int, int] | None:
        """Return where the body and the end mark end; of marks that end together the longest counts."""
        best: tuple[int, int] | None = None
        limit = begin + self._max_length
        for mark in self._ends:
            at = self._find(mark, begin, limit)
            if at >= 0 and (best is None or (at + len(mark), at) < (best[1], best[0])):
                best = at, at + len(mark)
        return best

    def _find(self, mark: bytes, begin: int, limit: int) -> int:
        at = self._pending.find(mark, begin, limit)
        while at >= 0 and (self._offset + at) % self._unit:
            at = self._pending.find(mark, at + 1, limit)
        return at

    def _segment(self, begin: int, body_end: int, end: int) -> list[Cut]:
        dropping, self._dropping = self._dropping, False
        sure, self._sure = self._sure, True
        if self._start:
            return self._bracketed(begin, body_end, end)
        span = Span(self._offset + begin, end - begin)
        if dropping:
            return [self._too_long(span)]
        body = self._pending[begin:body_end]
        if not body.strip(self._blank):
            return [Filler(span)]
        if not sure:
            return [maybe_half(span)]
        return [RawFrame(span, body, self._tail(body_end, end))]

    def _bracketed(self, begin: int, body_end: int, end: int) -> list[Cut]:
        at = self._pending.rfind(self._start, begin, body_end)
        if at < 0:
            return [self._outside(begin, end, self._pending[begin:body_end])]
        body = self._pending[at + len(self._start) : body_end]
        frame = RawFrame(Span(self._offset + at, end - at), body, self._tail(body_end, end))
        return [frame] if at == begin else [self._outside(begin, at, self._pending[begin:at]), frame]

    def _tail(self, body_end: int, end: int) -> bytes:
        return self._pending[body_end:end] if self._keep_tail else b""

    def _outside(self, begin: int, end: int, content: bytes) -> Cut:
        span = Span(self._offset + begin, end - begin)
        if not content.strip(self._blank):
            return Filler(span)
        return FrameRefused(span, OUT_OF_FRAME, f"no start mark {self._start!r} stands before these bytes")

    def _end_of_piece(self, begin: int) -> int:
        """Return where to cut bytes without an end: before a later start mark, or a begun end mark."""
        end = begin + self._max_length - self._overlap
        later = self._pending.rfind(self._start, begin + 1, begin + self._max_length) if self._start else -1
        return later if later > 0 else end

    def _piece(self, begin: int, end: int) -> FrameRefused:
        self._dropping = True
        return self._too_long(Span(self._offset + begin, end - begin))

    def _too_long(self, span: Span) -> FrameRefused:
        return FrameRefused(span, TOO_LONG, f"{PLAIN_WORDS[TOO_LONG]} of {self._max_length} bytes")

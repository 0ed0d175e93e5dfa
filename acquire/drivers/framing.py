"""Cut a stream of bytes into frames by end marks, and a start mark where there is one.

Without a start mark, a frame is what stands between two end marks. With one, a frame goes from the last start
mark before an end mark to that end mark, and what stands outside is no frame::

    body END body END            [lead] START body END [lead] START body END

The end mark that is complete first ends a frame, the longest if several are; so the pieces in which bytes
arrive make no difference. What has no end within the greatest length is refused piece by piece.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PARTIAL, PLAIN_WORDS, TOO_LONG

BLANK: Final = b" \t\r\n"  # a frame of nothing else carries nothing
SLICE_BYTES: Final = 65_536  # bytes looked at together, so that a huge chunk is not copied whole [bytes]


class RawFrame(NamedTuple):
    """The bytes of one frame, still unread."""

    span: Span
    body: bytes
    """What stands between the marks."""


Cut = RawFrame | FrameRefused | Filler


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
    distrust_first: bool = False
    """Refuse what comes before the first end mark, as it may be the second half of something."""


class Framer:
    """Cut the bytes of one capture into frames; memory is bounded by the greatest length of a frame."""

    def __init__(self, marks: Marks) -> None:
        self._ends = marks.ends
        self._start = marks.start
        self._max_length = marks.max_length
        self._overlap = (
            max(len(mark) for mark in marks.ends) - 1
        )  # of a mark that may just be arriving [bytes]
        self._blank = BLANK + marks.filler
        self._pending = b""
        self._offset = 0  # of the first pending byte in the capture [bytes]
        self._sure = not marks.distrust_first  # that what comes next is the beginning of a frame
        self._dropping = False  # the frame before this piece had no end yet

    def push(self, data: bytes) -> list[Cut]:
        """Take bytes and return what they complete."""
        cuts: list[Cut] = []
        for at in range(0, len(data), SLICE_BYTES):
            self._push(data[at : at + SLICE_BYTES], cuts)
        return cuts

    def close(self) -> list[Cut]:
        """Return what is left without an end."""
        left, self._pending = self._pending, b""
        if not left:
            return []
        span = Span(self._offset, len(left))
        return [
            FrameRefused(span, PARTIAL, PLAIN_WORDS[PARTIAL]) if left.strip(self._blank) else Filler(span)
        ]

    def _push(self, data: bytes, cuts: list[Cut]) -> None:
        self._pending += data
        begin = 0
        while True:
            found = self._first_end(begin)
            if found is not None:
                body_end, end = found
                cuts += self._segment(begin, body_end, end)
            elif len(self._pending) - begin >= self._max_length:
                end = self._end_of_piece(begin)
                cuts.append(self._piece(begin, end))
            else:
                break
            begin = end
        self._pending = self._pending[begin:]
        self._offset += begin

    def _first_end(self, begin: int) -> tuple[int, int] | None:
        """Return where the body and the end mark end; of marks that end together the longest counts."""
        best: tuple[int, int] | None = None
        limit = begin + self._max_length
        for mark in self._ends:
            at = self._pending.find(mark, begin, limit)
            if at >= 0 and (best is None or (at + len(mark), at) < (best[1], best[0])):
                best = at, at + len(mark)
        return best

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
            return [_maybe_half(span)]
        return [RawFrame(span, body)]

    def _bracketed(self, begin: int, body_end: int, end: int) -> list[Cut]:
        at = self._pending.rfind(self._start, begin, body_end)
        if at < 0:
            return [self._outside(begin, end, self._pending[begin:body_end])]
        frame = RawFrame(Span(self._offset + at, end - at), self._pending[at + len(self._start) : body_end])
        return [frame] if at == begin else [self._outside(begin, at, self._pending[begin:at]), frame]

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


def _maybe_half(span: Span) -> FrameRefused:
    detail = (
        "what comes before the first end mark may be the second half of a message; if this instrument sends "
        "whole messages only, say distrust_first = false in the framing of its driver file"
    )
    return FrameRefused(span, OUT_OF_FRAME, detail)

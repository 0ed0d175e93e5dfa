"""Gather lines into blocks: a printed report is one frame, from its first line to its last."""

from acquire.drivers.cuts import Cut, RawFrame, maybe_half
from acquire.drivers.framing import Framer
from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PARTIAL, PLAIN_WORDS, TOO_LONG

_BLANKS = b" \t"


class BlockFramer:
    """Blocks of lines; memory is bounded by the greatest length of a block.

    A block with a line that cannot be told from noise is refused whole.
    """

    def __init__(
        self,
        lines: Framer,
        joiner: bytes,
        max_length: int,
        begin: bytes = b"",
        end: bytes = b"",
        *,
        distrust_first: bool = False,
    ) -> None:
        """Take what cuts lines, what to put between them, and how the first and the last line begin."""
        self._cutter = lines
        self._joiner = joiner
        self._max_length = max_length
        self._begin_mark = begin
        self._end_mark = end
        self._sure = not distrust_first
        self._lines: list[bytes] = []
        self._begin: int | None = None  # of the block that is open [bytes]
        self._end = 0  # of the last line [bytes]
        self._spoilt: FrameRefused | None = None  # a line of the open block
        self._dropping = False  # the block before these lines was too long

    @property
    def waits(self) -> bool:
        """Whether bytes wait for their end."""
        return self._cutter.waits or self._begin is not None

    def push(self, data: bytes) -> list[Cut]:
        """Take bytes and return the blocks that they complete."""
        return [block for line in self._cutter.push(data) for block in self._take(line)]

    def silent(self) -> list[Cut]:
        """Return what has no end yet; a beginning comes next."""
        rest = [block for line in self._cutter.silent() for block in self._take(line)]
        if self._begin is not None:
            rest.append(self._broken(PARTIAL, PLAIN_WORDS[PARTIAL]))
        self._sure, self._dropping = True, False
        return rest

    def close(self) -> list[Cut]:
        """Return what is left without an end."""
        return self.silent()

    def _take(self, line: Cut) -> list[Cut]:
        match line:
            case RawFrame(body=body):
                return self._text_line(line.span, body)
            case Filler():
                return self._blank_line(line)
            case FrameRefused():
                return self._spoilt_line(line)

    def _text_line(self, span: Span, body: bytes) -> list[Cut]:
        text = body.strip(_BLANKS)
        begins = bool(self._begin_mark) and text.startswith(self._begin_mark)
        cuts: list[Cut] = []
        if begins:
            self._dropping = False
            if self._begin is not None:
                cuts.append(self._broken(PARTIAL, "another block begins before this one ended"))
        ends = bool(self._end_mark) and text.startswith(self._end_mark)
        if self._begin is None and not self._open(span, begins=begins):
            return [*cuts, self._outside(span, ends=ends)]
        if not (text == self._begin_mark and begins) and not (ends and text == self._end_mark):
            self._lines.append(body)
        return cuts + self._grown(span, ends=ends)

    def _open(self, span: Span, *, begins: bool) -> bool:
        if self._dropping or (self._begin_mark and not begins):
            return False
        self._begin = span.offset
        return True

    def _outside(self, span: Span, *, ends: bool) -> FrameRefused:
        if self._dropping:
            self._dropping = not ends
            return FrameRefused(span, TOO_LONG, f"{PLAIN_WORDS[TOO_LONG]} of {self._max_length} bytes")
        detail = f"no line that begins with {self._begin_mark!r} stands before this one"
        return FrameRefused(span, OUT_OF_FRAME, detail)

    def _blank_line(self, line: Filler) -> list[Cut]:
        if self._begin is None:
            if not self._end_mark and line.span.offset:  # what comes first may be the end of a line only
                self._sure, self._dropping = True, False
            return [line]
        if self._end_mark:
            self._lines.append(b"")
        return self._grown(line.span, ends=not self._end_mark)

    def _spoilt_line(self, line: FrameRefused) -> list[Cut]:
        if self._begin is None and not self._open(line.span, begins=False):
            return [line]
        self._spoilt = self._spoilt or line
        return self._grown(line.span, ends=False)

    def _grown(self, span: Span, *, ends: bool) -> list[Cut]:
        """Take a line into the open block, and end the block if that was its last, or one too many."""
        self._end = span.end
        if ends:
            return [self._complete()]
        if self._end - (self._begin or 0) > self._max_length:
            self._dropping = True
            return [self._broken(TOO_LONG, f"{PLAIN_WORDS[TOO_LONG]} of {self._max_length} bytes")]
        return []

    def _complete(self) -> Cut:
        sure, self._sure = self._sure, True
        if self._spoilt is not None:
            return self._broken(self._spoilt.reason, f"a line of the block: {self._spoilt.detail}")
        body = self._joiner.join(self._lines)
        span = self._closed()
        return RawFrame(span, body) if sure else maybe_half(span)

    def _broken(self, reason: str, detail: str) -> FrameRefused:
        self._sure = True
        return FrameRefused(self._closed(), reason, detail)

    def _closed(self) -> Span:
        begin = self._begin or 0
        self._lines, self._begin, self._spoilt = [], None, None
        return Span(begin, self._end - begin)

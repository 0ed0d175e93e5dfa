"""The engine of data-only drivers: cut, check, decode, lay out, as a driver file declares them."""

from acquire.drivers.checks import FrameCheck
from acquire.drivers.cuts import Cut, RawFrame, without_prompts
from acquire.drivers.cutting import cutter_of
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import bytes_of, characters_of
from acquire.drivers.layouts import ignored_lines, layout_of
from acquire.drivers.message import Content
from acquire.drivers.refusal import Refusal
from acquire.drivers.text import SEVEN_BITS, TextReader
from acquire.events import Event, Filler, FrameRead, FrameRefused, Identity, Instant
from acquire.reasons import WRONG_INSTRUMENT

NS_PER_MS = 1_000_000
"""[ns/ms], exact."""


class DataOnlyDriver:
    """Read the bytes of one capture as a driver file declares: each frame its check, its text, its layout."""

    def __init__(self, definition: Definition, offset: int = 0) -> None:
        """Take a consistent definition, and the offset of the first byte that will come. [bytes]"""
        framing = definition.framing
        self._mask = SEVEN_BITS if framing.encoding == "7bit" else None
        self._cutter = cutter_of(definition, offset)
        self._silence_ns = (framing.silence_ms or 0) * NS_PER_MS
        self._last_ns = 0  # when bytes last came, where silence means something [ns]
        self._prompts = tuple(bytes_of(text, framing.encoding) for text in framing.prompts)
        self._ignored = ignored_lines(definition)
        self._check = _frame_check(definition)
        self._text = TextReader(
            framing.encoding,
            characters_of(framing.filler, framing.encoding),
            _separators(definition),
            characters_of(framing.ignore, framing.encoding),
            terminal_codes=framing.ansi,
        )
        self._may_be_empty = bool(self._prompts or framing.ignore or framing.ansi)
        self._layout = layout_of(definition)
        self._stranger = ""  # why nothing is taken until the right instrument says who it is

    @property
    def next_deadline_ns(self) -> int | None:
        """When silence will have ended what waits; None if it ends nothing. [ns]"""
        if self._silence_ns and self._cutter.waits:
            return self._last_ns + self._silence_ns
        return None

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes and return the events that they, and the silence before them, complete."""
        if self._mask is not None:
            data = data.translate(self._mask)
        cuts: list[Cut] = []
        if self._silence_ns:
            cuts = self._after_silence(at)
            self._last_ns = at.monotonic_ns
        cuts += self._cutter.push(data)
        return self._events(cuts)

    def tick(self, at: Instant) -> list[Event]:
        """Return what silence has completed."""
        return self._events(self._after_silence(at))

    def closed(self, at: Instant) -> list[Event]:
        """Return what silence has completed, and what was left without an end, refused."""
        return self._events(self._after_silence(at) + self._cutter.close())

    def to_send(self) -> bytes:
        """Return nothing: such an instrument is only listened to."""
        return b""

    def _after_silence(self, at: Instant) -> list[Cut]:
        deadline = self.next_deadline_ns
        return self._cutter.silent() if deadline is not None and at.monotonic_ns >= deadline else []

    def _events(self, cuts: list[Cut]) -> list[Event]:
        return [self._read(cut) if isinstance(cut, RawFrame) else cut for cut in cuts]

    def _read(self, frame: RawFrame) -> Event:
        span, body, tail = frame
        if self._prompts:
            body = without_prompts(body, self._prompts)
        if self._ignored and self._text.read_loosely(body).startswith(self._ignored):
            return Filler(span)
        try:
            if self._check is not None:
                body = self._check.text_of(body, tail)
            text = self._text.read(body)
            if self._may_be_empty and not text.strip():
                return Filler(span)
            content = self._layout.read(text)
        except Refusal as refusal:
            if refusal.reason == WRONG_INSTRUMENT:
                self._stranger = f"{refusal.detail}; nothing is taken until the right one says who it is"
            return FrameRefused(span, refusal.reason, refusal.detail)
        if content is None:
            return Filler(span)
        if self._stranger and not self._says_who_it_is(content):
            return FrameRefused(span, WRONG_INSTRUMENT, self._stranger)
        return FrameRead(span, content.readings, content.notices)

    def _says_who_it_is(self, content: Content) -> bool:
        if not any(isinstance(notice, Identity) for notice in content.notices):
            return False
        self._stranger = ""
        return True


def _frame_check(definition: Definition) -> FrameCheck | None:
    check, framing = definition.check, definition.framing
    if check is None:
        return None
    return FrameCheck(
        check.kind,
        bytes_of(check.mark, framing.encoding),
        check.skip_bytes,
        bytes_of(framing.start, framing.encoding) if check.includes_start else b"",
        check.case,
        check.written,
        behind_end=check.place == "after_end",
        includes_end=check.includes_end,
    )


def _separators(definition: Definition) -> list[str]:
    """Return the texts between fields and rows, which may be control characters."""
    encoding = definition.framing.encoding
    texts: list[str] = []
    if definition.delimited is not None:
        texts = [definition.delimited.separator, definition.delimited.rows]
    elif definition.fixed is not None:
        texts = [definition.fixed.rows]
    elif definition.labelled is not None:
        texts = [definition.labelled.between, definition.labelled.label_end]
    if definition.block is not None:
        texts.append(definition.framing.ends[0])
    return [characters_of(text, encoding) for text in texts]

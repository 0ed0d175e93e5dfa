"""The engine of data-only drivers: frame, check, text, layout, as a driver file declares them."""

from acquire.drivers.checks import FrameCheck
from acquire.drivers.definition import Check, Definition, Framing
from acquire.drivers.escapes import bytes_of, characters_of
from acquire.drivers.framing import Framer, Marks, RawFrame
from acquire.drivers.layouts import layout_of
from acquire.drivers.refusal import Refusal
from acquire.drivers.text import SEVEN_BITS, TextReader
from acquire.drivers.trust import first_frame_is_sure
from acquire.events import Event, FrameRead, FrameRefused, Instant


class DataOnlyDriver:
    """Read the bytes of one capture as a driver file declares: each frame its check, its text, its layout."""

    next_deadline_ns: int | None = None

    def __init__(self, definition: Definition) -> None:
        encoding = definition.framing.encoding
        self._mask = SEVEN_BITS if encoding == "7bit" else None
        self._framer = Framer(_marks(definition))
        self._check = (
            _frame_check(definition.check, definition.framing) if definition.check is not None else None
        )
        filler = characters_of(definition.framing.filler, encoding)
        self._text = TextReader(encoding, filler, _separators(definition))
        self._layout = layout_of(definition)

    def receive(self, data: bytes, at: Instant) -> list[Event]:  # noqa: ARG002 - time says nothing here
        """Take bytes and return the events that they complete."""
        if self._mask is not None:
            data = data.translate(self._mask)
        return [self._read(cut) if isinstance(cut, RawFrame) else cut for cut in self._framer.push(data)]

    def tick(self, at: Instant) -> list[Event]:  # noqa: ARG002 - silence ends no frame
        """Return nothing: end marks alone end a frame."""
        return []

    def closed(self, at: Instant) -> list[Event]:  # noqa: ARG002 - time says nothing here
        """Return what was left without an end, refused."""
        return [self._read(cut) if isinstance(cut, RawFrame) else cut for cut in self._framer.close()]

    def to_send(self) -> bytes:
        """Return nothing: such an instrument is only listened to."""
        return b""

    def _read(self, frame: RawFrame) -> Event:
        span, body = frame
        try:
            if self._check is not None:
                body = self._check.text_of(body)
            return FrameRead(span, self._layout.read(self._text.read(body)))
        except Refusal as refusal:
            return FrameRefused(span, refusal.reason, refusal.detail)


def _marks(definition: Definition) -> Marks:
    framing = definition.framing
    distrust = framing.distrust_first
    return Marks(
        ends=tuple(bytes_of(mark, framing.encoding) for mark in framing.ends),
        start=bytes_of(framing.start, framing.encoding),
        max_length=framing.max_length,
        filler=bytes_of(framing.filler, framing.encoding),
        distrust_first=not first_frame_is_sure(definition) if distrust is None else distrust,
    )


def _frame_check(check: Check, framing: Framing) -> FrameCheck:
    prefix = bytes_of(framing.start, framing.encoding) if check.includes_start else b""
    return FrameCheck(
        check.kind, bytes_of(check.mark, framing.encoding), check.skip_bytes, prefix, check.case
    )


def _separators(definition: Definition) -> list[str]:
    """Return the texts between fields, which may be control characters."""
    encoding = definition.framing.encoding
    if definition.delimited is not None:
        return [characters_of(definition.delimited.separator, encoding)]
    if definition.labelled is not None:
        layout = definition.labelled
        return [characters_of(layout.between, encoding), characters_of(layout.label_end, encoding)]
    return []

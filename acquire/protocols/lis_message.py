"""One LIS message while it comes in: nothing of it is said before its last record is here.

Frames are acknowledged one by one, but a message counts only when its terminator record came. Until then
every event of the capture waits in order behind the message's first frame.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from acquire.drivers.refusal import Refusal
from acquire.events import Event, FrameRead, FrameRefused, Notice, Reading, Span
from acquire.protocols.lis_frames import Frame
from acquire.reasons import PLAIN_WORDS, TOO_LONG, UNFINISHED

MOST_BYTES: Final = 4_000_000  # of one message [bytes]
MOST_PARTS: Final = 20_000  # that wait for the end of one message
FRAME_LEAD_BYTES: Final = 2  # STX and the number [bytes]


class Spoken(NamedTuple):
    """What a record says."""

    readings: tuple[Reading, ...] = ()
    notices: tuple[Notice, ...] = ()


Said = Spoken | Refusal
"""What became of one record."""

ReadMessage = Callable[[Sequence[bytes]], Sequence[Said]]
"""Takes the records of a whole message and says what each of them says."""


@dataclass(slots=True)
class _Record:
    """A record, whole or still coming in."""

    text: bytearray = field(default_factory=bytearray)


@dataclass(frozen=True, slots=True)
class _Part:
    """The bytes of a record that came in one frame."""

    span: Span
    record: int
    """Which record of the message."""


class Message:
    """Gathers the records of one message after the other."""

    def __init__(self, read: ReadMessage) -> None:
        self._read = read
        self._records: list[_Record] = []
        self._held: list[_Part | Event] = []
        self._bytes = 0
        self._goes_on = False  # the last record has no end yet

    @property
    def is_open(self) -> bool:
        """Whether a message has begun and not ended."""
        return bool(self._records)

    def add(self, frame: Frame, span: Span) -> list[Event]:
        """Take an accepted frame; return the events of every message that it ends."""
        events: list[Event] = []
        pieces = _pieces(frame, span)
        if not pieces:
            return self.hold(FrameRead(span))
        for text, part_span, has_end in pieces:
            if not self._goes_on and text.startswith(b"H") and self.is_open:
                events += self.give_up("another message began before its terminator record")
            self._enter(text, part_span)
            self._goes_on = not has_end
            if has_end and self._records[-1].text.startswith(b"L"):
                events += self._finish()
        return events + self._give_up_if_too_long()

    def hold(self, event: Event) -> list[Event]:
        """Let an event wait for its turn; return it at once if there is nothing to wait for."""
        if not self.is_open:
            return [event]
        self._held.append(event)
        self._bytes += event.span.length
        return self._give_up_if_too_long()

    def give_up(self, why: str) -> list[Event]:
        """Return everything that waited; nothing of an unfinished message counts."""
        return self._release(lambda _: Refusal(UNFINISHED, f"{PLAIN_WORDS[UNFINISHED]}: {why}"))

    def _enter(self, text: bytes, span: Span) -> None:
        if not self._goes_on:
            self._records.append(_Record())
        self._records[-1].text += text
        self._bytes += span.length
        self._held.append(_Part(span, len(self._records) - 1))

    def _give_up_if_too_long(self) -> list[Event]:
        if self._bytes <= MOST_BYTES and len(self._held) <= MOST_PARTS:
            return []
        detail = f"a message of more than {MOST_BYTES} bytes or {MOST_PARTS} parts"
        return self._release(lambda _: Refusal(TOO_LONG, detail))

    def _finish(self) -> list[Event]:
        said = self._read([bytes(record.text) for record in self._records])
        return self._release(lambda record: said[record])

    def _release(self, said: Callable[[int], Said]) -> list[Event]:
        held, self._held, self._records = self._held, [], []
        self._bytes, self._goes_on = 0, False
        last_parts = {item.record: item for item in held if isinstance(item, _Part)}
        return [
            _event(item.span, said(item.record), is_last=last_parts[item.record] is item)
            if isinstance(item, _Part)
            else item
            for item in held
        ]


def _event(span: Span, said: Said, *, is_last: bool) -> Event:
    if isinstance(said, Refusal):
        return FrameRefused(span, said.reason, said.detail)
    return FrameRead(span, *said) if is_last else FrameRead(span)


def _pieces(frame: Frame, span: Span) -> list[tuple[bytes, Span, bool]]:
    """Return the parts of records in a frame, with their bytes, and whether the record ends there.

    Records end with CR. The first part takes the frame's beginning along, the last one its end.
    """
    texts = frame.text.split(b"\r")
    open_end = texts.pop()
    ended = [True] * len(texts)
    if open_end:
        texts.append(open_end)
        ended.append(frame.is_last)
    pieces, begin, at = [], span.offset, span.offset + FRAME_LEAD_BYTES
    for index, (text, has_end) in enumerate(zip(texts, ended, strict=True)):
        at += len(text) + 1
        end = span.end if index == len(texts) - 1 else at
        pieces.append((text, Span(begin, end - begin), has_end))
        begin = end
    return pieces

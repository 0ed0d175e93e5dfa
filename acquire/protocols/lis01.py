"""The driver of CLSI LIS01-A2: the instrument calls, sends frames, and wants each one acknowledged.

Between ENQ and EOT a frame is accepted once: the same number with the same text again is a repeat, which
is acknowledged and carries nothing. What is not sound is refused and asked for again. Only one reply waits at
any time, that to what came last; one to something older would be taken for the reply to the next frame.
"""

import re
from collections.abc import Mapping
from typing import Final

from acquire.drivers.refusal import Refusal
from acquire.events import Event, Filler, FrameRead, FrameRefused, Instant, Span
from acquire.protocols.factory import ProtocolFactory
from acquire.protocols.lis_frames import ACK, ENQ, EOT, LF, NAK, STX, Frame, number_after, parse_frame
from acquire.protocols.lis_message import Message
from acquire.protocols.lis_options import Lis01Options
from acquire.protocols.lis_records import RecordReader
from acquire.protocols.lis_rehearsal import rehearsal_of
from acquire.protocols.options import NS_PER_S, checked_options
from acquire.protocols.window import Window
from acquire.reasons import (
    NO_ANSWER,
    OUT_OF_FRAME,
    PARTIAL,
    PLAIN_WORDS,
    TOO_LONG,
    WRONG_LAYOUT,
    WRONG_SEQUENCE,
)

NAME: Final = "lis01"
NOISE_BYTES: Final = 1024  # of bytes outside any frame that are refused together [bytes]
SLICE_BYTES: Final = 65_536  # taken in together, so that a huge chunk is not copied again and again [bytes]
QUIET_NS: Final = 2 * NS_PER_S  # [ns] after which noise outside a transfer is said
BLANK: Final = b"\r\n\0\x04"  # CR, LF, NUL and EOT outside a transfer carry nothing

_CONTROL: Final = re.compile(rb"[\x02\x04\x05\n]")
"""What ends a frame, or begins something else: STX, EOT, ENQ, LF."""


def factory(options: Mapping[str, object]) -> ProtocolFactory[Lis01Options]:
    """Return the factory for a line with these options; raise `DriverOptionError` with every fault."""
    return ProtocolFactory(NAME, checked_options(Lis01Options, NAME, options), Lis01Driver, rehearsal_of)


class Lis01Driver:
    """Receives from one instrument."""

    def __init__(self, options: Lis01Options) -> None:
        self.next_deadline_ns: int | None = None
        self._timeout_ns = round(options.frame_timeout_s * NS_PER_S)
        self._max_frame = options.max_frame_bytes
        self._window = Window()
        self._searched = 1  # how far a frame's end was looked for in vain [bytes]
        self._message = Message(RecordReader(options).read)
        self._in_transfer = False
        self._last: Frame | None = None
        self._reply = b""

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes and return the events that they complete."""
        events: list[Event] = []
        for begin in range(0, len(data), SLICE_BYTES):
            self._window.push(data[begin : begin + SLICE_BYTES])
            while self._step(at, events):
                pass
        if not self._in_transfer:
            self.next_deadline_ns = at.monotonic_ns + QUIET_NS if len(self._window) else None
        return events

    def tick(self, at: Instant) -> list[Event]:
        """Give a transfer up that has come to a stop; say what lies outside any."""
        if self.next_deadline_ns is None or at.monotonic_ns < self.next_deadline_ns:
            return []
        if not self._in_transfer:
            self.next_deadline_ns = None
            return self._rest(OUT_OF_FRAME, "no ENQ came before these bytes")
        why = f"no frame came for {self._timeout_ns / NS_PER_S:g} s"
        return [*self._rest(NO_ANSWER, why), *self._end_transfer(why)]

    def closed(self, at: Instant) -> list[Event]:  # noqa: ARG002 - the end is the end, whenever it comes
        """Return what is unfinished, refused."""
        return [
            *self._rest(PARTIAL, PLAIN_WORDS[PARTIAL]),
            *self._end_transfer("the line was lost or closed"),
        ]

    def to_send(self) -> bytes:
        """Return, once, the reply to what came last."""
        reply, self._reply = self._reply, b""
        return reply

    def _step(self, at: Instant, events: list[Event]) -> bool:
        """Take the next thing out of the window; False if it is not whole yet."""
        if not len(self._window):
            return False
        if not self._in_transfer:
            return self._step_outside(at, events)
        first = self._window.data[:1]
        if first == ENQ:
            events += self._end_transfer("the instrument called again")
            self._begin_transfer(at, events)
            return True
        if first == EOT:
            events += self._end_transfer("the instrument ended the transfer")
            events.append(Filler(self._window.take(1)))
            return True
        return self._step_frame(at, events) if first == STX else self._step_noise(events)

    def _step_outside(self, at: Instant, events: list[Event]) -> bool:
        place = self._window.data.find(ENQ, 0, NOISE_BYTES)
        if place == 0:
            self._begin_transfer(at, events)
            return True
        if place < 0 and len(self._window) < NOISE_BYTES:
            return False
        events.append(self._noise(place if place > 0 else NOISE_BYTES, "no ENQ came before these bytes"))
        return True

    def _step_frame(self, at: Instant, events: list[Event]) -> bool:
        data = self._window.data
        found = _CONTROL.search(data, self._searched, self._max_frame)
        if found is None:
            self._searched = max(1, len(data))
            if len(data) < self._max_frame:
                return False
            event = FrameRefused(
                self._take(self._max_frame), TOO_LONG, f"{PLAIN_WORDS[TOO_LONG]} of {self._max_frame} bytes"
            )
        elif found[0] == LF:
            return self._take_frame(found.end(), at, events)
        else:
            detail = f"the frame breaks off before 0x{found[0][0]:02X}"
            event = FrameRefused(self._take(found.start()), WRONG_LAYOUT, detail)
        events += self._message.hold(event)
        return True

    def _step_noise(self, events: list[Event]) -> bool:
        """Take bytes inside a transfer that are no frame; nobody waits for a reply to them."""
        found = _CONTROL.search(self._window.data, 0, NOISE_BYTES)
        if found is None and len(self._window) < NOISE_BYTES:
            return False
        end = NOISE_BYTES if found is None else found.end() if found[0] == LF else found.start()
        events += self._message.hold(self._noise(end, "no STX stands before these bytes"))
        return True

    def _take_frame(self, length: int, at: Instant, events: list[Event]) -> bool:
        data = self._window.data[:length]
        span = self._take(length)
        self.next_deadline_ns = at.monotonic_ns + self._timeout_ns
        try:
            frame = parse_frame(data)
            is_repeat = self._is_repeat(frame)
        except Refusal as refusal:
            self._reply = NAK
            events += self._message.hold(FrameRefused(span, refusal.reason, refusal.detail))
            return True
        self._reply = ACK
        if is_repeat:
            events += self._message.hold(FrameRead(span))
        else:
            self._last = frame
            events += self._message.add(frame, span)
        return True

    def _is_repeat(self, frame: Frame) -> bool:
        """Tell whether this is the last frame again; refuse one that neither repeats nor follows it."""
        if frame == self._last:
            return True
        wanted = number_after(self._last)
        if frame.number != wanted:
            raise Refusal(WRONG_SEQUENCE, f"the frame bears the number {frame.number}, wanted {wanted}")
        return False

    def _begin_transfer(self, at: Instant, events: list[Event]) -> None:
        events.append(Filler(self._window.take(1)))
        self._in_transfer, self._last, self._reply = True, None, ACK
        self.next_deadline_ns = at.monotonic_ns + self._timeout_ns

    def _end_transfer(self, why: str) -> list[Event]:
        self._in_transfer, self._reply = False, b""
        self.next_deadline_ns = None
        return self._message.give_up(why)

    def _noise(self, length: int, detail: str) -> Event:
        is_blank = not self._window.data[:length].strip(BLANK)
        span = self._take(length)
        return Filler(span) if is_blank else FrameRefused(span, OUT_OF_FRAME, detail)

    def _rest(self, reason: str, detail: str) -> list[Event]:
        """Return what waits in the window, refused, in its place behind the message."""
        if not len(self._window):
            return []
        event = self._noise(len(self._window), detail)
        if isinstance(event, FrameRefused):
            event = FrameRefused(event.span, reason, detail)
        return self._message.hold(event)

    def _take(self, length: int) -> Span:
        self._searched = 1
        return self._window.take(length)

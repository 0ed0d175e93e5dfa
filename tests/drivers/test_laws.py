"""Each law is broken by a driver that does what the law forbids, and by no other reason."""

from collections.abc import Callable
from decimal import Decimal

import pytest

from acquire.battery import BrokenLawError, Law, Subject, laws
from acquire.driver import Driver
from acquire.events import Event, FrameRead, FrameRefused, Instant, Outcome, Reading, Span
from acquire.rehearsal import Rehearsal
from tests.fakes.driver import FakeFactory

MESSAGES = (b"13.41\n", b"8.02\n")


class Plain:
    """Reads numbers in lines, and keeps every law but that of the second half of a line."""

    next_deadline_ns: int | None = None

    def __init__(self) -> None:
        self.pending = b""
        self.offset = 0

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        self.pending += data
        events: list[Event] = []
        while b"\n" in self.pending or len(self.pending) > 64:
            line, end, _ = self.pending[:64].partition(b"\n")
            events.append(self.event(line, len(line + end), whole=bool(end)))
            self.pending = self.pending[len(line + end) :]
        return events

    def event(self, line: bytes, length: int, *, whole: bool) -> Event:
        span = Span(self.offset, length)
        self.offset += length
        digits = line.replace(b".", b"", 1)
        if not (whole and digits.isdigit() and digits.isascii()):
            return FrameRefused(span, "wrong_layout")
        text = line.decode()
        return FrameRead(span, (Reading("ph", Outcome.VALUE, text, Decimal(text), "pH"),))

    def tick(self, at: Instant) -> list[Event]:
        return []

    def closed(self, at: Instant) -> list[Event]:
        return [FrameRefused(Span(self.offset, len(self.pending)), "partial")] if self.pending else []

    def to_send(self) -> bytes:
        return b""


class Forgetful(Plain):
    """Reads only what comes whole in one piece."""

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        events = super().receive(data, at)
        if self.pending and data[-1:] == b".":
            events += self.closed(at)
            self.offset, self.pending = self.offset + len(self.pending), b""
        return events


class Hasty(Plain):
    """Takes a half line for a whole one when the line closes."""

    def closed(self, at: Instant) -> list[Event]:
        return [self.event(self.pending, len(self.pending), whole=True)] if self.pending else []


class Hoarding(Plain):
    """Waits for an end for ever."""

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        if b"\n" in data:
            return super().receive(data, at)
        self.pending += data
        return []


class Deaf(Plain):
    """Hears nothing any more after the first byte that is no text."""

    broken = False

    def event(self, line: bytes, length: int, *, whole: bool) -> Event:
        self.broken = self.broken or not line.isascii()
        return super().event(line, length, whole=whole and not self.broken)


class Raising(Plain):
    """Raises for bytes that are no text."""

    def event(self, line: bytes, length: int, *, whole: bool) -> Event:
        line.decode("ascii")
        return super().event(line, length, whole=whole)


class Silent(Plain):
    """Says nothing of bytes that it does not understand."""

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        return [event for event in super().receive(data, at) if isinstance(event, FrameRead)]


def on_trial(make: Callable[[], Driver], *, checked: bool = False, whole: bool = True) -> Subject:
    rehearsal = Rehearsal(MESSAGES, lead=b"\n", checked=checked, begins_whole=whole)
    return Subject(FakeFactory(make), rehearsal)


@pytest.mark.parametrize("law", laws.LAWS, ids=lambda law: law.__name__)
def test_a_lawful_driver_keeps_them_all(law: Law) -> None:
    law(on_trial(Plain))


@pytest.mark.parametrize(
    ("law", "subject", "words"),
    [
        (laws.its_own_messages_are_read, Subject(FakeFactory(Plain), Rehearsal((b"x\n",))), "is not read"),
        (laws.pieces_make_no_difference, on_trial(Forgetful), "whole"),
        (laws.part_of_a_message_says_nothing, on_trial(Hasty), "says"),
        (laws.part_of_a_message_says_nothing, on_trial(Plain, whole=False), "b'3.41.n' of b'13.41.n' says"),
        (laws.no_changed_byte_changes_a_value, on_trial(Plain, checked=True), "with some other byte at 0"),
        (laws.noise_before_costs_one_message_at_most, on_trial(Deaf), "behind the noise"),
        (laws.bytes_without_an_end_stay_bounded, on_trial(Hoarding), "bytes of memory"),
        (laws.random_bytes_raise_nothing, on_trial(Raising), "it raised UnicodeDecodeError"),
        (laws.random_bytes_raise_nothing, on_trial(Silent), "it said nothing of"),
    ],
    ids=lambda value: getattr(value, "__name__", None),
)
def test_a_driver_that_breaks_a_law_is_found(law: Law, subject: Subject, words: str) -> None:
    with pytest.raises(BrokenLawError, match=words):
        law(subject)

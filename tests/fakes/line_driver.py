"""A driver for lines ended by LF, with the habits that the tests of hearing need."""

from acquire.driver import Driver, DriverIdentity
from acquire.events import Event, FrameRead, FrameRefused, Instant, Span
from acquire.reasons import PARTIAL, WRONG_INSTRUMENT

POISON = b"poison"
"""A line that makes the driver raise: a bug on order."""


class FakeLineDriver:
    """Reads whole lines; may greet, acknowledge each line, and say when it was silent for long."""

    def __init__(self, greeting: bytes, acknowledge: bytes, silence_ns: int | None) -> None:
        self._buffer = b""
        self._offset = 0
        self._outgoing = greeting
        self._acknowledge = acknowledge
        self._silence_ns = silence_ns
        self.next_deadline_ns: int | None = None

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        *lines, self._buffer = (self._buffer + data).split(b"\n")
        if POISON in lines:
            raise RuntimeError("the driver broke")
        events: list[Event] = [FrameRead(self._next_span(len(line) + 1)) for line in lines]
        self._outgoing += self._acknowledge * len(lines)
        if self._silence_ns is not None:
            self.next_deadline_ns = at.monotonic_ns + self._silence_ns if self._buffer else None
        return events

    def tick(self, at: Instant) -> list[Event]:
        self.next_deadline_ns = None
        return self._unfinished(f"silent until {at.monotonic_ns}")

    def closed(self, at: Instant) -> list[Event]:
        return self._unfinished("")

    def to_send(self) -> bytes:
        outgoing, self._outgoing = self._outgoing, b""
        return outgoing

    def _next_span(self, length: int) -> Span:
        span = Span(self._offset, length)
        self._offset += length
        return span

    def _unfinished(self, detail: str) -> list[Event]:
        length, self._buffer = len(self._buffer), b""
        return [FrameRefused(self._next_span(length), PARTIAL, detail)] if length else []


class FakeLineDrivers:
    """Makes them."""

    def __init__(
        self, greeting: bytes = b"", acknowledge: bytes = b"", silence_ns: int | None = None
    ) -> None:
        self._habits = (greeting, acknowledge, silence_ns)

    identity = DriverIdentity("fake-lines", "1", "fake")

    def __call__(self) -> Driver:
        return FakeLineDriver(*self._habits)


class FakeAsker(FakeLineDriver):
    """Asks five times a second; refuses lines of any other instrument than the expected one."""

    def __init__(self, expected: bytes | None) -> None:
        super().__init__(b"?", b"", None)
        self._expected = expected

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        before = self._offset
        events = super().receive(data, at)
        if self._expected is None or data.strip() == self._expected:
            return events
        return [FrameRefused(Span(before, len(data)), WRONG_INSTRUMENT, f"it says {data.strip().decode()}")]

    def tick(self, at: Instant) -> list[Event]:
        if self.next_deadline_ns is not None:
            self._outgoing = b"?"
        self.next_deadline_ns = at.monotonic_ns + 200_000_000
        return []


class FakeAskers(FakeLineDrivers):
    """Makes them."""

    def __init__(self, expected: bytes | None = None) -> None:
        super().__init__()
        self._expected = expected

    def __call__(self) -> Driver:
        return FakeAsker(self._expected)

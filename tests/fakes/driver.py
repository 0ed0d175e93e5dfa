"""Drivers that say what a test tells them to say."""

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from importlib.metadata import Distribution
from typing import Any

from acquire.driver import Driver, DriverIdentity
from acquire.events import Event, Filler, FrameRead, FrameRefused, Instant, Span
from acquire.rehearsal import Rehearsal

AT = Instant(utc_us=1_759_740_067_000_000, monotonic_ns=5_000_000_000)
"""A moment for tests in which time plays no part."""

NO_REHEARSAL = Rehearsal()

Answer = Sequence[Event] | Exception
"""What a scripted driver does at one call."""


class ScriptedDriver:
    """Answer each call with the next answer of a script, whatever the bytes; then with nothing."""

    def __init__(
        self, script: Iterable[Answer], to_send: bytes = b"", deadline_ns: int | None = None
    ) -> None:
        self._script = deque(script)
        self._to_send = to_send
        self._deadline_ns = deadline_ns

    @property
    def next_deadline_ns(self) -> int | None:
        return self._deadline_ns

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        return self._next()

    def tick(self, at: Instant) -> list[Event]:
        self._deadline_ns = None
        return self._next()

    def closed(self, at: Instant) -> list[Event]:
        return self._next()

    def to_send(self) -> bytes:
        sent, self._to_send = self._to_send, b""
        return sent

    def _next(self) -> list[Event]:
        answer = self._script.popleft() if self._script else ()
        if isinstance(answer, Exception):
            raise answer
        return list(answer)


class LineDriver:
    """Read every line ended by LF as a frame without readings; a line ``BUG`` makes it raise."""

    next_deadline_ns: int | None = None

    def __init__(self) -> None:
        self._pending = b""
        self._offset = 0

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        *lines, self._pending = (self._pending + data).split(b"\n")
        return [self._read(line) for line in lines]

    def tick(self, at: Instant) -> list[Event]:
        return []

    def closed(self, at: Instant) -> list[Event]:
        return [FrameRefused(Span(self._offset, len(self._pending)), "partial")] if self._pending else []

    def to_send(self) -> bytes:
        return b""

    def _read(self, line: bytes) -> Event:
        if line == b"BUG":
            raise RuntimeError("a bug of the driver")
        span = Span(self._offset, len(line) + 1)
        self._offset = span.end
        return FrameRead(span) if line else Filler(span)


class FakeFactory:
    """Make drivers by calling a function; an error in the list of errors is raised instead, in order."""

    def __init__(
        self,
        make: Callable[[], Driver],
        errors: Sequence[Exception | None] = (),
        rehearsal: Rehearsal = NO_REHEARSAL,
    ) -> None:
        self._make = make
        self.rehearsal = rehearsal
        self._errors = deque(errors)
        self.made = 0

    @property
    def identity(self) -> DriverIdentity:
        return DriverIdentity("fake", "1", "tests==1")

    def __call__(self) -> Driver:
        error = self._errors.popleft() if self._errors else None
        if error is not None:
            raise error
        self.made += 1
        return self._make()


class FakePoint:
    """An entry point of a package that is not installed."""

    def __init__(self, name: str, load: Callable[[], Any], dist: Distribution | None = None) -> None:
        self.name = name
        self.dist = dist
        self._load = load

    def load(self) -> Any:
        return self._load()

"""The contract of a driver: a pure object between bytes and events.

A driver opens nothing, waits for nothing and reads no clock. What an instrument sends never makes it
raise; an exception from a driver is a bug, and the supervisor treats it as one: the bytes are kept, a
fault is recorded and a fresh driver goes on.
"""

from dataclasses import dataclass
from typing import Protocol

from acquire.events import Event, Instant


@dataclass(frozen=True, slots=True)
class DriverIdentity:
    """Which driver read a frame, exactly enough to run the same one again."""

    name: str
    version: str
    definition: str
    """The text of a data-only driver's file, or ``package==version`` for one made of code."""


class Driver(Protocol):
    """Turn the heard bytes of one capture into events, however the line cut them up.

    Offsets count from the opening of the capture. Memory is bounded whatever comes. The same bytes with
    the same instants give the same events, fed whole or in any pieces.
    """

    @property
    def next_deadline_ns(self) -> int | None:
        """Monotonic time at which :meth:`tick` wants to be called; None if never. [ns]"""

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes that arrived and return the events that they complete."""

    def tick(self, at: Instant) -> list[Event]:
        """Say that time has passed and return the events that silence completes."""

    def closed(self, at: Instant) -> list[Event]:
        """Say that the line is gone: what is unfinished comes out as refused. Call once, last."""

    def to_send(self) -> bytes:
        """Return, once, the bytes that the driver wants on the wire; sent only after the commit.

        `tick` follows at once with the instant at which they were taken, so that the time for an answer is
        not spent before the question has left.
        """


class DriverFactory(Protocol):
    """Make a fresh driver for each capture."""

    @property
    def identity(self) -> DriverIdentity:
        """Name, version and definition of the drivers made here."""

    def __call__(self) -> Driver:
        """Return a driver that has heard nothing yet."""

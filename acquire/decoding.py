"""Run an account over chunks and passing time, in the way that a later pour of the same bytes will."""

from typing import Final, Protocol

from acquire.events import Event, Instant
from acquire.instants import moved
from acquire.sink import Chunk, Direction

MOST_TICKS: Final = 1_000  # without a byte between them; a driver that wants more is not heard out


class Accounting(Protocol):
    """What is needed of an account."""

    @property
    def next_deadline_ns(self) -> int | None:
        """Monotonic time at which :meth:`tick` wants to be called; None if never. [ns]"""

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes that arrived."""

    def tick(self, at: Instant) -> list[Event]:
        """Take note that time has passed."""

    def to_send(self) -> bytes:
        """Return, once, the bytes that are to leave."""


def decode(account: Accounting, chunks: tuple[Chunk, ...], until: Instant) -> list[Event]:
    """Return what chunks, and the deadlines that lie between and after them, make known.

    A tick bears the instant at which it was due, not the one at which we came round to it; so live hearing
    and a pour give the driver the same times. A sent chunk stands for the moment at which the driver's bytes
    were taken: a pour takes them at the same moment, and they go nowhere.
    """
    events: list[Event] = []
    for chunk in chunks:
        events += tick_up_to(account, chunk.at)
        if chunk.direction is Direction.SENT:
            events += take_outgoing(account, chunk.at)[1]
        else:
            events += account.receive(chunk.data, chunk.at)
    return events + tick_up_to(account, until)


def take_outgoing(account: Accounting, at: Instant) -> tuple[bytes, list[Event]]:
    """Take what the driver wants on the wire, and tell it when: an answer's time counts from there."""
    outgoing = account.to_send()
    return outgoing, account.tick(at) if outgoing else []


def tick_up_to(account: Accounting, until: Instant) -> list[Event]:
    """Return what the deadlines up to an instant make known."""
    events: list[Event] = []
    for _ in range(MOST_TICKS):
        due_ns = account.next_deadline_ns
        if due_ns is None or due_ns > until.monotonic_ns:
            break
        events += account.tick(moved(until, due_ns - until.monotonic_ns))
    return events

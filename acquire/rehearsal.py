"""Messages by which a driver can be tried, and how to play them as its instrument would send them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from acquire.decoding import Accounting, take_outgoing, tick_up_to
from acquire.events import Event, Instant
from acquire.instants import moved


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """Messages of an instrument, and what the driver must know of the way in which they come."""

    messages: tuple[bytes, ...] = ()
    """Whole messages that the driver reads, each on its own behind `lead`."""
    lead: bytes = b""
    """What stands before the first message, so that its beginning is sure: an end mark, a header row."""
    pause_ns: int = 0
    """Silence behind each message: what ends it, or what the driver waits before it asks again. [ns]"""
    checked: bool = False
    """A check covers every field that is read: no message with one changed byte may give another value."""
    begins_whole: bool = False
    """The instrument is known to send nothing but whole messages from the opening of a line on."""
    unit: int = 1
    """Of a character; noise comes in whole ones. [bytes]"""


@runtime_checkable
class Rehearsed(Protocol):
    """A factory of drivers that brings its own messages."""

    @property
    def rehearsal(self) -> Rehearsal:
        """Messages by which its drivers can be tried."""


class Hearer(Accounting, Protocol):
    """A driver, or an account that runs one."""

    def closed(self, at: Instant) -> list[Event]:
        """Say that the line is gone."""


def play(
    hearer: Hearer, rehearsal: Rehearsal, messages: Iterable[Sequence[bytes]], *, hang_up: bool = False
) -> list[Event]:
    """Return the events of a capture in which messages come, each in its pieces.

    Parameters
    ----------
    hearer : Hearer
        A fresh driver or account.
    rehearsal : Rehearsal
        What comes first, and how long it is silent behind each message.
    messages : iterable of sequences of bytes
        The pieces of each come at one instant; what the driver wants to send is taken after each.
    hang_up : bool
        The line closes at once behind the last piece, without silence.
    """
    at = Instant(utc_us=0, monotonic_ns=0)
    events = take_outgoing(hearer, at)[1]
    scenes = [[rehearsal.lead], *messages] if rehearsal.lead else list(messages)
    for number, pieces in enumerate(scenes):
        for piece in pieces:
            events += hearer.receive(piece, at)
            events += take_outgoing(hearer, at)[1]
        if rehearsal.pause_ns and not (hang_up and number == len(scenes) - 1):
            at = moved(at, rehearsal.pause_ns)
            events += tick_up_to(hearer, at)
            events += take_outgoing(hearer, at)[1]
    return events + hearer.closed(at)

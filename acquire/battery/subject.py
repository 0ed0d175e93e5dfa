"""A driver on trial: how it is fed, and what it says."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from acquire.accounting import Account, merge_fillers
from acquire.driver import DriverFactory
from acquire.events import Event, FrameRead, FrameRefused, Notice, Reading
from acquire.reasons import UNACCOUNTED
from acquire.rehearsal import Rehearsal, Rehearsed, play

Said = Reading | Notice


class BrokenLawError(Exception):
    """A driver does what no driver may do."""


@dataclass(frozen=True, slots=True)
class Subject:
    """A driver and the messages that it can read."""

    factory: DriverFactory
    rehearsal: Rehearsal

    @property
    def messages(self) -> tuple[bytes, ...]:
        """Whole messages, each of which it reads."""
        return self.rehearsal.messages

    def hear(self, *messages: Sequence[bytes], hang_up: bool = False) -> list[Event]:
        """Return the events of a capture; it must raise nothing and name every byte.

        Parameters
        ----------
        *messages : sequence of bytes
            Each in its pieces, with the pause of the rehearsal behind it.
        hang_up : bool
            The line closes at once behind the last piece.
        """
        account = Account(self.factory)
        events = merge_fillers(play(account, self.rehearsal, messages, hang_up=hang_up))
        fault = account.take_fault()
        demand(fault is None, f"it raised {fault}")
        _must_tile(events, len(self.rehearsal.lead) + sum(len(piece) for one in messages for piece in one))
        return events

    def said(self, *messages: bytes, hang_up: bool = False) -> list[Said]:
        """Return the readings and notices of whole messages."""
        return self.said_in(self.hear(*([message] for message in messages), hang_up=hang_up))

    def said_in(self, events: Iterable[Event]) -> list[Said]:
        """Return the readings and notices of all frames behind the lead, in their order."""
        begin = len(self.rehearsal.lead)
        frames = [event for event in events if isinstance(event, FrameRead) and event.span.offset >= begin]
        return [one for frame in frames for one in (*frame.readings, *frame.notices)]


Law = Callable[[Subject], None]
"""Raises `BrokenLawError` if the driver breaks it."""


def subject_of(factory: DriverFactory) -> Subject:
    """Return the trial of a driver whose factory brings its messages (`acquire.rehearsal.Rehearsed`).

    Raises
    ------
    BrokenLawError
        If it brings none: nothing could be proven.
    """
    rehearsal = factory.rehearsal if isinstance(factory, Rehearsed) else Rehearsal()
    if not rehearsal.messages:
        name = factory.identity.name
        raise BrokenLawError(f"driver {name} brings no messages to try it by; give its factory a rehearsal")
    return Subject(factory, rehearsal)


def demand(holds: bool, otherwise: str) -> None:  # noqa: FBT001 - reads like an assertion
    """Raise `BrokenLawError` with what is so otherwise, unless something holds."""
    if not holds:
        raise BrokenLawError(otherwise)


def _must_tile(events: Sequence[Event], length: int) -> None:
    """Demand that every byte is in exactly one event, and that the driver itself left none out."""
    end = 0
    for event in events:
        demand(event.span.offset == end, f"byte {end} is in no event, or in two: {event}")
        left_out = isinstance(event, FrameRefused) and event.reason == UNACCOUNTED
        demand(not left_out, f"it said nothing of {event.span}")
        end = event.span.end
    demand(end == length, f"of {length} bytes, only {end} are in an event")

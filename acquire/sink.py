"""Where hearing hands on what it heard: one small Protocol, so that acquire knows no store.

A call returns when what it carried is durable. A byte that makes an instrument forget may leave only after.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, Protocol

from acquire.driver import DriverIdentity
from acquire.events import Event, Instant


class Direction(StrEnum):
    """Which way bytes went."""

    HEARD = "heard"
    SENT = "sent"


class Chunk(NamedTuple):
    """Bytes that crossed a line together."""

    at: Instant
    """When the first of them arrived or left."""
    data: bytes
    direction: Direction = Direction.HEARD


class FarPlace(NamedTuple):
    """How far a line of a far bench is taken."""

    store: str
    """Id of the store there."""
    revision: int
    """Of the last event that was taken, by the ledger there."""


class FarPart(NamedTuple):
    """A capture here holds a part of a capture of a far bench, or all of it."""

    site: str
    store: str
    line: str
    capture: int
    """The number there."""
    begin_heard: int
    """Where the first heard byte here lies there. [bytes]"""
    begin_sent: int
    """The same of the bytes that were sent there. [bytes]"""


@dataclass(frozen=True, slots=True)
class Opening:
    """A line was opened: a capture begins."""

    line: str
    instrument: str
    driver: DriverIdentity
    device: str
    """What was really opened: the resolved device or URL, with hardware identity where there is one."""
    settings: str
    """Line settings as text, such as ``9600 8N1``; empty where there are none."""
    at: Instant
    far: FarPart | None = None
    """None if it was heard here."""
    place: FarPlace | None = None
    """How far the line is taken with this; it is kept in the same commit."""


class Hearing(NamedTuple):
    """What one turn of a line brought: chunks first, then what the driver made of them."""

    chunks: tuple[Chunk, ...]
    events: tuple[Event, ...]
    at: Instant
    """When the last byte or the tick came that completed the events."""
    fault: str | None = None
    """The driver's error, if it raised: type, message and where."""
    place: FarPlace | None = None
    """As of an opening."""


class Ending(StrEnum):
    """Why a capture ended."""

    STOPPED = "stopped"
    LOST = "lost"
    COMPLETE = "complete"
    """A file was read to its end."""
    FOUND_OPEN = "found_open"
    """The daemon that heard it had died; only where that was a far one."""


@dataclass(frozen=True, slots=True)
class Closing:
    """A line was closed or lost: the capture ends."""

    ending: Ending
    why: str
    at: Instant
    place: FarPlace | None = None
    """As of an opening."""


@dataclass(frozen=True, slots=True)
class Gap:
    """Time in which a line was not heard, or bytes that could not be kept."""

    line: str
    instrument: str
    begin: Instant
    end: Instant
    why: str
    lost_bytes: int | None = None
    """Bytes known to have come and been lost; None where nobody can tell. [bytes]"""
    place: FarPlace | None = None
    """As of an opening."""


class CaptureSink(Protocol):
    """Takes one capture."""

    async def heard(self, *hearings: Hearing) -> None:
        """Keep chunks, frames and readings of them all in one commit.

        Raises
        ------
        SinkFullError
            If it cannot be held; none of them is kept then.
        """

    async def closed(self, closing: Closing) -> None:
        """Keep the end of the capture."""


class Sink(Protocol):
    """Takes what all lines hear."""

    async def opened(self, opening: Opening) -> CaptureSink:
        """Keep the beginning of a capture and return where its bytes go."""

    async def gap(self, gap: Gap) -> None:
        """Keep a gap that has ended."""


class SinkFullError(Exception):
    """The store cannot be written and the spool is full: the bytes of this call are lost; count them."""

"""What every kind of line can do: be opened, bring pieces with their instants, send, and stop."""

from dataclasses import dataclass
from typing import NamedTuple, Protocol, runtime_checkable

from acquire.doctor.evidence import Signals
from acquire.events import Instant
from acquire.sink import Ending


class Piece(NamedTuple):
    """Bytes as they came out of the port at once."""

    at: Instant
    data: bytes


@dataclass(frozen=True, slots=True)
class Opened:
    """What was really opened."""

    device: str
    """The resolved device, URL or file, with hardware identity where there is one."""
    settings: str
    """Such as ``9600 8N1``; empty where there are none."""
    at: Instant
    captures_follow: bool = False
    """No capture begins here: each batch says when one does, as with the files of a folder."""


@dataclass(frozen=True, slots=True)
class End:
    """Why no more bytes come."""

    ending: Ending
    why: str
    """Plain words."""
    at: Instant


class Batch(NamedTuple):
    """All that came since the last time."""

    pieces: tuple[Piece, ...] = ()
    overflow_bytes: int = 0
    """Bytes that came after these pieces and found no room. [bytes]"""
    end: End | None = None
    """Set once nothing more will come; the pieces came before it."""
    begins: Opened | None = None
    """A capture of its own begins with these pieces; only where captures follow the opening."""
    closes: End | None = None
    """The capture that a batch began ends after these pieces; the line goes on."""


@dataclass(frozen=True, slots=True)
class Backlog:
    """What was read and not taken yet."""

    waiting_bytes: int = 0
    """Bytes that wait to be taken. [bytes]"""
    overflow_bytes: int = 0
    """Bytes that came after these and found no room. [bytes]"""
    since: Instant | None = None
    """When the first of them came."""


@runtime_checkable
class ShowsSignals(Protocol):
    """A line that may have control lines."""

    def signals(self) -> Signals | None:
        """Return the control lines that the other end drives; None where nobody can see them."""


class Transport(Protocol):
    """One line's way to its bytes. It can be opened again after it was closed.

    Any number of pieces may wait to be taken, up to a bound; what comes beyond it is dropped and counted.
    """

    @property
    def takes_bytes(self) -> bool:
        """Whether there is anybody to send to."""

    @property
    def comes_again(self) -> bool:
        """Whether what was taken and not kept comes again after the next opening: then nothing is lost."""

    @property
    def last_round_ns(self) -> int | None:
        """Monotonic time at which the reader last came round; None while there is none. [ns]"""

    @property
    def backlog(self) -> Backlog:
        """What was read and not taken yet."""

    async def open(self) -> Opened:
        """Open it.

        Raises
        ------
        PortUnavailableError
            If that is impossible now, with words for a person.
        NoPortError
            If it never will be possible.
        """

    async def wait(self) -> Instant | None:
        """Wait until there is something to take; cancelling loses nothing.

        Returns when the first of it came, or None if it gains nothing to wait for more of it. An error
        that is neither the cable's nor the port's is raised from here.
        """

    def take(self) -> Batch:
        """Return, once, all that waits."""

    def kept(self) -> None:
        """Take note that all that was taken is durable: whoever holds it for us may let it go."""

    async def send(self, data: bytes) -> None:
        """Put bytes on the wire. Raises `TransportError` in finite time if they do not all leave."""

    def stop(self) -> None:
        """Begin to end: what was read stays to be taken, and a last batch says that it is the last."""

    async def close(self) -> None:
        """Let go of the port. In any state, any number of times, in finite time."""

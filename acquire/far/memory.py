"""What must be known of a far line from before: up to where it was taken, and how its last part ended."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from acquire.sink import Chunk, FarPlace


@dataclass(frozen=True, slots=True)
class Continued:
    """A capture of the far bench of which parts are kept here already."""

    device: str
    settings: str
    next_heard: int
    """Where the far bench's next heard byte lies in its capture. [bytes]"""
    next_sent: int
    """The same of the bytes it sent. [bytes]"""
    tail: tuple[Chunk, ...] = ()
    """The last heard bytes, which no frame here accounts for yet: the next part begins with them."""


class FarMemory(Protocol):
    """Knows it from the store; each call may take a while."""

    def place(self, line: str) -> FarPlace | None:
        """Return up to where a line was taken; None if nothing was."""

    def continued(self, line: str, store: str, capture: int) -> Continued | None:
        """Return how far a capture of a far bench was taken; None if nothing of it was."""


Fetch = Callable[[int], bytes]
"""Asks the far bench itself for what happened on the line behind a revision; returns a message.

Raises `FarFetchError`. Takes a while.
"""


class FarFetchError(Exception):
    """The far bench cannot be asked; the text says why."""

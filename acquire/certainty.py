"""Up to when all that arrived on the lines is known to be kept, so that a crash can be dated by it."""

from collections.abc import Mapping
from typing import Protocol

from acquire.events import Instant


class Heard(Protocol):
    """What a line knows of what it has heard."""

    @property
    def last_round_ns(self) -> int | None:
        """Monotonic time at which its reader last came round; None while there is none. [ns]"""

    @property
    def unkept_since(self) -> Instant | None:
        """When the first of what came and is not known to be kept came; None if everything is."""


class Certainty:
    """Asked again and again, it follows the rounds of each reader.

    A round takes what had arrived before it began. So one that has ended proves that what came before its
    beginning was read; whether it is kept too, the line knows.
    """

    def __init__(self) -> None:
        self._rounds: dict[str, tuple[int, int]] = {}  # the newest that was seen, the newest that has ended

    def until_ns(self, lines: Mapping[str, Heard], now_ns: int) -> int:
        """Return the moment before which nothing came that is not kept, by monotonic clock. [ns]"""
        self._rounds = {
            name: self._followed(name, line.last_round_ns)
            for name, line in lines.items()
            if line.last_round_ns is not None
        }
        read = (ended_ns for _, ended_ns in self._rounds.values())
        unkept = (line.unkept_since for line in lines.values())
        return min([now_ns, *read, *(at.monotonic_ns for at in unkept if at)])

    def _followed(self, name: str, round_ns: int) -> tuple[int, int]:
        newest_ns, ended_ns = self._rounds.get(name, (round_ns, round_ns))
        return (round_ns, newest_ns) if round_ns > newest_ns else (newest_ns, ended_ns)

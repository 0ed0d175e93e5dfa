"""A line for load and for kill tests: plain frames that count themselves.

It stands for no instrument. The sequence number in a frame only ever rises, so a missing, a doubled and a
reordered frame can all be seen from what was stored.

Not simulated: any chemistry; the values are drawn from the line's own stream.
"""

import math
from collections.abc import Iterator
from itertools import count
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream

LINE: Final = LineSettings(9600, 8, "N", 1)
BATCH: Final = 64  # [frames], put at once by a saturating line
LAST_SEQUENCE: Final = 99_999_999


class NumberedLines:
    """Frames at a fixed rate, or as fast as the reader takes them.

    Parameters
    ----------
    name : str
        Id of the line.
    rate_hz : float
        Frames a second; 0 for as fast as the reader takes them. [1/s]
    frames : int
        How many; 0 for no end.
    phase : float
        Share of a period by which the first frame is late, so that many lines do not speak at once. [1]
    """

    def __init__(
        self, name: str, rate_hz: float, frames: int = 0, *, seed: int = 0, phase: float = 0.0
    ) -> None:
        if not 0 <= rate_hz <= 100_000:
            raise ValueError(
                f"rate {rate_hz:g} is not possible; give 0 (saturating) up to 100000 frames a second"
            )
        self.name = name
        self._rate_hz = rate_hz
        self._frames = frames or LAST_SEQUENCE
        self._phase = phase
        self._sent = 0
        self._values = _values(seed, name)

    @property
    def manner(self) -> Manner:
        """A line with a rate waits for its first listener only, a saturating one at all times."""
        return Manner.WAITS_ONCE if self._rate_hz else Manner.FOLLOWS_READER

    @property
    def next_due_s(self) -> float:
        """Work time of the next frame. [s]"""
        if self._sent >= self._frames:
            return math.inf
        return (self._sent + self._phase) / self._rate_hz if self._rate_hz else 0.0

    def advance(self, to_s: float) -> list[Message]:
        """Return the frames that are due; one message holds all of them. [s]"""
        due = BATCH
        if self._rate_hz:
            due = math.floor(to_s * self._rate_hz - self._phase + 1e-9) + 1 - self._sent
        due = min(due, self._frames - self._sent)
        if due <= 0:
            return []
        first = self._sent + 1
        self._sent += due
        data = b"".join(frame(first + index, next(self._values)) for index in range(due))
        return [Message(data, {"kind": "lines", "first": first, "last": self._sent})]

    def restart(self) -> list[Message]:
        """Go on counting: a line for counting must not count anew."""
        return []

    def command(self, words: list[str]) -> list[Message]:
        """Refuse: there are no buttons."""
        raise ValueError(f"no button {' '.join(words)!r}; a numbered line has none")


def frame(sequence: int, value_mg_l: float) -> bytes:
    """Return one frame: sequence of 8 digits, value with 3 decimals. [mg/L]"""
    return f"N|{sequence:08d}|{value_mg_l:.3f}|mg/L\r\n".encode("ascii")


def _values(seed: int, name: str) -> Iterator[float]:
    random = stream(seed, name)
    for _ in count():
        yield 5.0 + 40.0 * random.random()

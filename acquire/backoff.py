"""How long to wait before a line is tried again."""

import random
from collections.abc import Callable
from typing import Final

from acquire.clock import NS_PER_S

FIRST_S: Final = 0.2  # [s] a plug that was pushed back is heard again at once
CAP_S: Final = 5.0  # [s] a port that returns is heard again well within 10 s
HEALTHY_S: Final = 60.0  # [s] a line that stayed open this long begins again at FIRST_S


class Backoff:
    """Waits that double up to a cap, each shortened by chance so that many lines do not knock together."""

    def __init__(
        self,
        first_s: float = FIRST_S,
        cap_s: float = CAP_S,
        healthy_s: float = HEALTHY_S,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._first_s = first_s
        self._cap_s = cap_s
        self._healthy_ns = int(healthy_s * NS_PER_S)
        self._chance = chance
        self._next_s = first_s

    def next_s(self) -> float:
        """Return the wait before the next attempt, between half and all of what is due. [s]"""
        due_s = self._next_s
        self._next_s = min(self._cap_s, 2 * due_s)
        return due_s * (0.5 + 0.5 * self._chance())

    def was_open(self, duration_ns: int) -> None:
        """Say how long the line stayed open: a healthy one begins again with the shortest wait. [ns]"""
        if duration_ns >= self._healthy_ns:
            self._next_s = self._first_s

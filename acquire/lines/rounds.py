"""Wake the event loop for many lines at once.

Each waking costs two changes of thread and some system calls, and what lines bring in one round is committed
together. So the first that rings after a quiet moment is heard at once, and who rings soon after it waits for
the next round.
"""

import asyncio
import contextlib
import threading
from collections.abc import Callable
from typing import Final

PACE_S: Final = 0.01  # [s] from one round to the next; half of the writer's pause between commits


class Rounds:
    """Collects calls from reader threads and makes them in the event loop in which it was made."""

    def __init__(self, pace_s: float = PACE_S, loop: asyncio.AbstractEventLoop | None = None) -> None:
        self._loop = loop or asyncio.get_running_loop()
        self._pace_s = pace_s
        self._lock = threading.Lock()
        self._waiting: list[Callable[[], object]] = []
        self._next_s = self._loop.time()  # the earliest time of the next round

    def ring(self, call: Callable[[], object]) -> None:
        """Have something called in the next round. From any thread."""
        with self._lock:
            self._waiting.append(call)
            is_first = len(self._waiting) == 1
        if is_first:
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
                self._loop.call_soon_threadsafe(self._come)

    def _come(self) -> None:
        if self._loop.time() >= self._next_s:
            self._round()
        else:
            self._loop.call_at(self._next_s, self._round)

    def _round(self) -> None:
        self._next_s = self._loop.time() + self._pace_s
        with self._lock:
            waiting, self._waiting = self._waiting, []
        for call in waiting:
            call()

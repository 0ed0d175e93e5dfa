"""Answers to wrong keys come later and later, and few of them wait at a time; a right key never waits."""

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from typing import Final

LONGEST_S: Final = 8.0
"""[s]"""
WAITING_LIMIT: Final = 32
"""Answers that wait at a time, over all peers."""
PEERS_REMEMBERED: Final = 1000


class Slowdown:
    """Counts the wrong keys of each peer and holds the answers to them back."""

    def __init__(self, pause: Callable[[float], Awaitable[object]] = asyncio.sleep) -> None:
        self._pause = pause
        self._failures: OrderedDict[str, int] = OrderedDict()
        self._waiting = 0

    async def wrong(self, peer: str, first_s: float) -> bool:
        """Wait before a wrong key is answered, twice as long each time; False if too many wait. [s]"""
        failures = self._failures.pop(peer, 0) + 1
        self._failures[peer] = failures
        if len(self._failures) > PEERS_REMEMBERED:
            self._failures.popitem(last=False)
        if self._waiting >= WAITING_LIMIT:
            return False
        self._waiting += 1
        try:
            await self._pause(min(first_s * 2.0 ** min(failures - 1, 30), LONGEST_S))
        finally:
            self._waiting -= 1
        return True

    def right(self, peer: str) -> None:
        """Forget what a peer had wrong."""
        self._failures.pop(peer, None)

"""A clock that goes when it is told to."""

import asyncio
import heapq
import itertools

NS_PER_S = 1_000_000_000
TURNS = 50
"""How often the loop may turn before what was woken is taken to have come to rest."""


async def let_run() -> None:
    """Let everything that can run, run; nothing waits for real."""
    for _ in range(TURNS):
        await asyncio.sleep(0)


class FakeClock:
    """Stands still until :meth:`advance`; whoever sleeps wakes when its time has come."""

    def __init__(self) -> None:
        self._ns = 1_000 * NS_PER_S
        self._utc_offset_us = 1_700_000_000_000_000
        self._order = itertools.count()
        self._sleepers: list[tuple[int, int, asyncio.Event]] = []

    def utc_us(self) -> int:
        return self._utc_offset_us + self._ns // 1_000

    def monotonic_ns(self) -> int:
        return self._ns

    async def sleep(self, duration_s: float) -> None:
        woken = asyncio.Event()
        heapq.heappush(self._sleepers, (self._ns + int(duration_s * NS_PER_S), next(self._order), woken))
        await woken.wait()

    async def advance(self, duration_s: float) -> None:
        """Let time pass, waking sleepers one after the other at their own moments. [s]"""
        await let_run()
        end_ns = self._ns + int(duration_s * NS_PER_S)
        while self._sleepers and self._sleepers[0][0] <= end_ns:
            due_ns, _, woken = heapq.heappop(self._sleepers)
            self._ns = max(self._ns, due_ns)
            woken.set()
            await let_run()
        self._ns = end_ns
        await let_run()

"""Live events: each stream reads the ledger for itself and is woken when it has grown.

No event is queued for a client. A stream holds one number, its place in the ledger, so a slow client costs
nothing, misses nothing, and goes on where it stopped after any interruption.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Protocol, TypeVar


class Numbered(Protocol):
    """Something with a ledger number."""

    @property
    def number(self) -> int:
        """Its ledger number."""


Entry = TypeVar("Entry", bound=Numbered)


class Listener:
    """One stream's ear: an event that other threads may set."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._event = asyncio.Event()
        self._pending = False

    def ring(self) -> None:
        """Wake the stream; many rings before it wakes are one. From any thread."""
        if not self._pending:
            self._pending = True
            with suppress(RuntimeError):  # the loop is closed: nobody is left to wake
                self._loop.call_soon_threadsafe(self._event.set)

    async def wait(self, timeout_s: float) -> bool:
        """Wait until the bell has rung since the last call; False if it did not in time."""
        try:
            async with asyncio.timeout(timeout_s):
                await self._event.wait()
        except TimeoutError:
            return False
        # In this order: a ring that comes in between sets the event after it was cleared.
        self._pending = False
        self._event.clear()
        return True


class Bell:
    """Rung by the writer after each commit; wakes every stream."""

    def __init__(self) -> None:
        self._listeners: dict[int, Listener] = {}
        self.closed = False

    @property
    def listeners(self) -> int:
        """How many streams are open."""
        return len(self._listeners)

    def ring(self, head: int) -> None:  # noqa: ARG002 - the writer tells its new head; streams read it themselves
        """Wake every stream. From any thread."""
        for listener in tuple(self._listeners.values()):
            listener.ring()

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        self.closed = True
        self.ring(0)

    @contextmanager
    def listening(self) -> Iterator[Listener]:
        """Give a listener that hears every ring from now on."""
        listener = Listener()
        self._listeners[id(listener)] = listener
        try:
            yield listener
        finally:
            del self._listeners[id(listener)]


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast a stream may run."""

    round_s: float
    """Shortest time between two rounds. [s]"""
    round_events: int
    """Ledger entries of one round."""
    ping_s: float = 15.0
    """After so long without an entry, an empty round shows that the stream lives. [s]"""


async def follow(
    after: int, read: Callable[[int, int], Awaitable[Sequence[Entry]]], bell: Bell, pace: Pace
) -> AsyncIterator[Sequence[Entry]]:
    """Yield every ledger entry after a number, in order, for ever, in rounds of bounded size.

    `read(after, limit)` gives the next entries. A round is empty when nothing came for long. The stream ends
    when the bell is closed.
    """
    with bell.listening() as listener:
        while not bell.closed:
            entries = await read(after, pace.round_events)
            if entries:
                yield entries
                after = entries[-1].number
            if len(entries) < pace.round_events and not await listener.wait(pace.ping_s):
                yield ()
            await asyncio.sleep(pace.round_s)

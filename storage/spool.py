"""The queue in front of the writer: first in, first out, bounded by the bytes it holds."""

import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Generic, TypeVar

from storage.errors import SpoolFullError, WriterClosedError

DEFAULT_LIMIT_BYTES: Final = 64 * 1024 * 1024
ITEM_OVERHEAD_BYTES: Final = 512  # a closure, a future and their places in the queue

Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class SpoolState:
    """How full the spool is."""

    items: int
    held_bytes: int
    limit_bytes: int
    refused_items: int
    refused_bytes: int


class Spool(Generic[Item]):
    """Holds what waits to be written; bytes count until :meth:`release`, so a batch on its way counts."""

    def __init__(self, limit_bytes: int = DEFAULT_LIMIT_BYTES) -> None:
        self._limit_bytes = limit_bytes
        self._waiting: deque[tuple[Item, int]] = deque()
        self._changed = threading.Condition()
        self._items = self._bytes = self._taken_bytes = 0
        self._refused_items = self._refused_bytes = 0
        self._closed = False

    def put(self, item: Item, size_bytes: int) -> None:
        """Append an item. Raises `SpoolFullError` if it does not fit, `WriterClosedError` once closed."""
        with self._changed:
            if self._closed:
                raise WriterClosedError("the writer has stopped; nothing was kept. Start the daemon again")
            cost = size_bytes + ITEM_OVERHEAD_BYTES
            if self._bytes + cost > self._limit_bytes:
                self._refuse(size_bytes)
            self._waiting.append((item, cost))
            self._items += 1
            self._bytes += cost
            self._changed.notify()

    def take(self, most: int) -> list[Item]:
        """Wait for at least one item and return up to `most`; empty only when closed and drained."""
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or self._closed)
            taken = [self._waiting.popleft() for _ in range(min(most, len(self._waiting)))]
            self._taken_bytes += sum(cost for _, cost in taken)
            return [item for item, _ in taken]

    def release(self, batch: Sequence[Item]) -> None:
        """Say that the batch taken last has been dealt with: its bytes no longer count."""
        with self._changed:
            self._bytes -= self._taken_bytes
            self._items -= len(batch)
            self._taken_bytes = 0

    def close(self) -> None:
        """Take nothing more; what waits can still be taken out."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def state(self) -> SpoolState:
        """Return how full it is."""
        with self._changed:
            return SpoolState(
                self._items, self._bytes, self._limit_bytes, self._refused_items, self._refused_bytes
            )

    def _refuse(self, size_bytes: int) -> None:
        self._refused_items += 1
        self._refused_bytes += size_bytes
        raise SpoolFullError(
            offered_bytes=size_bytes,
            held_bytes=self._bytes,
            held_items=self._items,
            limit_bytes=self._limit_bytes,
        )

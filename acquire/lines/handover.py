"""Where a thread hands batches over to the event loop, one at a time, and learns when each is kept."""

import asyncio
import contextlib
import threading

from acquire.lines.transport import Batch, End


class HandoverClosedError(Exception):
    """Nobody takes batches any more."""


class Handover:
    """Holds one batch. What was handed over and not kept is the thread's to bring again."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._batch: Batch | None = None
        self._error: BaseException | None = None
        self._is_over = False
        self._is_taken = False  # the batch, and not yet known to be kept
        self._something = asyncio.Event()
        self._kept = threading.Event()
        self._closed = threading.Event()

    def give(self, batch: Batch) -> None:
        """Hand a batch over and wait until it is kept. From the thread.

        Raises
        ------
        HandoverClosedError
            If it is not kept.
        """
        self._kept.clear()
        self._leave(batch)
        self._kept.wait()
        if self._closed.is_set():
            raise HandoverClosedError

    def end(self, end: End) -> None:
        """Say that no more comes. From the thread."""
        self._is_over = True
        self._leave(Batch(end=end))

    def fail(self, error: BaseException) -> None:
        """Say that the thread met an error of ours. From the thread."""
        self._error = error
        self._wake()

    async def wait(self) -> None:
        """Wait until there is a batch; raises what the thread failed with."""
        while self._batch is None and self._error is None:
            self._something.clear()
            await self._something.wait()
        if self._error is not None:
            raise self._error

    def take(self) -> Batch:
        """Return, once, the batch that waits; an end is returned again and again."""
        if self._batch is None:
            return Batch()
        batch = self._batch
        if not self._is_over:
            self._batch, self._is_taken = None, True
        return batch

    def kept(self) -> None:
        """Say that the batch that was taken is kept."""
        if self._is_taken:
            self._is_taken = False
            self._kept.set()

    def close(self) -> None:
        """Say that nothing is taken any more."""
        self._closed.set()
        self._kept.set()

    def _leave(self, batch: Batch) -> None:
        self._batch = batch
        self._wake()

    def _wake(self) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
            self._loop.call_soon_threadsafe(self._something.set)

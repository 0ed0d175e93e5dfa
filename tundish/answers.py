"""Wait in the event loop for what the writer answers in its thread.

Waking the loop once for each thing that was kept cost more than hearing it. Here the loop is woken once a
commit, for everything that the commit made durable.
"""

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from acquire.sink import SinkFullError
from storage.errors import SpoolFullError, WriterClosedError
from storage.transaction import Transaction
from storage.writer import Writer

ROW_BYTES = 256
"""About what one row of a hearing holds in memory while it waits in the spool. [bytes]"""

T = TypeVar("T")


class Answers:
    """Hands work to one writer and brings its answers to whoever awaits them."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer
        self._there: deque[tuple[asyncio.Future[Any], Any, Exception | None]] = deque()
        writer.subscribe(lambda _head: self._wake())

    async def submit(self, work: Callable[[Transaction], T], size_bytes: int = ROW_BYTES) -> T:
        """Hand work to the writer and return what it answers once it is durable.

        Raises
        ------
        SinkFullError
            If the store cannot be written and the spool has no room for it, or no time is left.
        """
        awaited: asyncio.Future[T] = asyncio.get_running_loop().create_future()
        try:
            self._writer.post(work, partial(self._note, awaited), size_bytes=size_bytes)
            return await awaited
        except (SpoolFullError, WriterClosedError) as error:
            raise SinkFullError(str(error)) from error

    def _note(self, awaited: "asyncio.Future[Any]", answer: object, error: Exception | None) -> None:
        """Note an answer until the writer tells of its commit. From the writer's thread."""
        self._there.append((awaited, answer, error))

    def _wake(self) -> None:
        """Have the answers brought. From the writer's thread."""
        with contextlib.suppress(IndexError, RuntimeError):  # there are none; the loop is closed
            self._there[0][0].get_loop().call_soon_threadsafe(self._bring)

    def _bring(self) -> None:
        while self._there:
            awaited, answer, error = self._there.popleft()
            if awaited.done():  # who waited was cancelled
                continue
            if error is None:
                awaited.set_result(answer)
            else:
                awaited.set_exception(error)

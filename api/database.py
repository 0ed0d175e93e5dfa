"""Reading the store without stopping the event loop: two threads, short transactions."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Concatenate, Final, ParamSpec, TypeVar

from sqlalchemy import Connection

from api.services import ReadStore

Arguments = ParamSpec("Arguments")
Answer = TypeVar("Answer")

READ_THREADS: Final = 2  # more threads make SQLite slower: they fight for the interpreter at each row


class Database:
    """Runs queries of `storage.queries` in the reader threads."""

    def __init__(self, store: ReadStore) -> None:
        self._store = store
        self._threads = ThreadPoolExecutor(READ_THREADS, thread_name_prefix="api-read")

    async def read(
        self,
        query: Callable[Concatenate[Connection, Arguments], Answer],
        *args: Arguments.args,
        **kwargs: Arguments.kwargs,
    ) -> Answer:
        """Run one query in a transaction of its own and return its answer."""

        def run() -> Answer:
            with self._store.reader() as connection:
                return query(connection, *args, **kwargs)

        return await self.run(run)

    async def run(self, work: Callable[[], Answer]) -> Answer:
        """Run work that opens its own short transactions, such as the next piece of a stream."""
        return await asyncio.get_running_loop().run_in_executor(self._threads, work)

    def close(self) -> None:
        """Wait until the threads have ended what they are doing: a store is closed with no read under way."""
        self._threads.shutdown(cancel_futures=True)

"""The reader threads: what is under way when they end."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event
from typing import Any, cast

from api.database import Database
from api.services import ReadStore


class QuietStore:
    """A store whose connections hold nothing, and that notes when they are given back."""

    def __init__(self) -> None:
        self.told: list[str] = []

    @contextmanager
    def reader(self) -> Iterator[Any]:
        yield None
        self.told.append("given back")


async def test_closing_waits_for_a_read_that_is_under_way() -> None:
    store = QuietStore()
    database = Database(cast("ReadStore", store))
    begun, may_end = Event(), Event()

    def query(_connection: Any) -> None:
        begun.set()
        may_end.wait()
        for _ in range(100_000):  # so that a close that does not wait comes first
            pass

    reading = asyncio.ensure_future(database.read(query))
    await asyncio.to_thread(begun.wait)
    may_end.set()
    database.close()
    assert store.told == ["given back"]
    await reading

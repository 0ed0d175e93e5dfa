"""Work that is done side by side and fails as one."""

import asyncio
from collections.abc import Coroutine, Iterable
from typing import Any, TypeVar

T = TypeVar("T")


async def side_by_side(works: Iterable[Coroutine[Any, Any, T]]) -> list[T]:
    """Return what each work returns, in their order; they begin in that order too.

    Raises the first error as it is, once all the others are over: nothing goes on behind it.
    """
    tasks = [asyncio.create_task(work) for work in works]
    try:
        return await asyncio.gather(*tasks)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

"""What is done side by side ends together."""

import asyncio

import pytest

from tundish.side_by_side import side_by_side


async def say(word: str, said: list[str]) -> str:
    said.append(word)
    return word


async def test_answers_come_in_the_order_of_the_works_which_is_that_of_their_beginning() -> None:
    said: list[str] = []
    assert await side_by_side([say("a", said), say("b", said), say("c", said)]) == ["a", "b", "c"] == said


async def test_the_first_error_is_raised_as_it_is_and_nothing_goes_on_behind_it() -> None:
    ended: list[str] = []

    async def fail() -> None:
        raise OSError("the cable")

    async def work_on() -> None:
        try:
            await asyncio.Event().wait()
        finally:
            ended.append("over")

    with pytest.raises(OSError, match="the cable"):
        await side_by_side([work_on(), fail()])
    assert ended == ["over"]


async def test_whoever_waits_for_it_ends_it() -> None:
    ended: list[str] = []

    async def work_on(begun: asyncio.Event) -> None:
        begun.set()
        try:
            await asyncio.Event().wait()
        finally:
            ended.append("over")

    begun = asyncio.Event()
    task = asyncio.create_task(side_by_side([work_on(begun)]))
    await begun.wait()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert ended == ["over"]

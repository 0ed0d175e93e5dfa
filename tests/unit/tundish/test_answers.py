import asyncio
import threading
from collections.abc import Callable
from typing import cast

import pytest

from acquire.sink import SinkFullError
from storage.store import Store
from storage.transaction import Transaction
from storage.writer import Answered, Writer
from tests.fakes.clock import let_run
from tests.fakes.store_writer import SomeDisk
from tundish.answers import Answers


async def test_an_answer_comes_once_its_work_is_durable(store: Store) -> None:
    before = store.writer.health().commits
    assert await Answers(store.writer).submit(lambda tx: tx.next_number) == store.writer.head.number + 1
    assert store.writer.health().commits == before + 1


class ManualWriter:
    """A writer whose commits the test makes."""

    def __init__(self) -> None:
        self._waiting: list[Answered] = []
        self._listeners: list[Callable[[int], object]] = []

    def subscribe(self, listener: Callable[[int], object]) -> None:
        self._listeners.append(listener)

    def post(self, _work: object, answered: Answered, *, size_bytes: int) -> None:
        assert size_bytes > 0
        self._waiting.append(answered)

    def make_durable(self) -> None:
        for place, answered in enumerate(self._waiting):
            answered(place, None)

    def tell(self) -> None:
        for listener in self._listeners:
            listener(0)


async def test_what_a_commit_answers_comes_when_the_writer_tells_of_the_commit() -> None:
    writer = ManualWriter()
    answers = Answers(cast("Writer", writer))
    waiting = [asyncio.create_task(answers.submit(lambda _tx: None)) for _ in range(50)]
    await let_run()
    await asyncio.to_thread(writer.make_durable)
    await let_run()
    assert not any(task.done() for task in waiting)
    await asyncio.to_thread(writer.tell)
    assert await asyncio.gather(*waiting) == list(range(50))


async def test_work_that_raises_raises_where_it_is_awaited_and_spares_its_neighbours(store: Store) -> None:
    def faulty(_tx: Transaction) -> None:
        raise ZeroDivisionError("a bug")

    answers = Answers(store.writer)
    good, bad = await asyncio.gather(
        answers.submit(lambda _tx: "kept"), answers.submit(faulty), return_exceptions=True
    )
    assert good == "kept"
    assert isinstance(bad, ZeroDivisionError)


async def test_who_no_longer_waits_keeps_nobody_else_from_an_answer(store: Store) -> None:
    answers, gate = Answers(store.writer), threading.Event()
    store.writer.submit(lambda _tx: gate.wait(10))
    gone, waiting = (asyncio.create_task(answers.submit(lambda _tx: "kept")) for _ in range(2))
    await let_run()
    gone.cancel()
    gate.set()
    assert await waiting == "kept"
    with pytest.raises(asyncio.CancelledError):
        await gone


async def test_a_store_that_was_given_up_is_told_in_the_words_of_hearing(store: Store) -> None:
    def stuck(_tx: Transaction) -> None:
        raise SomeDisk(13)  # SQLITE_FULL

    store.writer.give_up()
    with pytest.raises(SinkFullError, match="could not be written until the stop: disk trouble"):
        await Answers(store.writer).submit(stuck)


async def test_a_full_spool_is_told_in_the_words_of_hearing(store: Store) -> None:
    with pytest.raises(SinkFullError, match="the spool is full"):
        await Answers(store.writer).submit(lambda _tx: None, size_bytes=2**40)

import asyncio
from collections.abc import Callable
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.events import Instant
from acquire.lines.inbox import Inbox
from acquire.lines.transport import End, Piece
from acquire.sink import Ending
from tests.fakes.clock import let_run

AT = Instant(1, 1)
END = End(Ending.LOST, "gone", AT)


def _inbox(capacity_bytes: int = 100) -> Inbox:
    return Inbox(asyncio.get_running_loop(), capacity_bytes)


async def test_a_piece_from_another_thread_wakes_who_waits() -> None:
    inbox = _inbox()
    waiting = asyncio.create_task(inbox.wait())
    await let_run()
    await asyncio.to_thread(inbox.put, Piece(AT, b"x"))
    assert await waiting == AT
    assert inbox.take().pieces == (Piece(AT, b"x"),)


async def test_what_was_taken_is_not_given_again() -> None:
    inbox = _inbox()
    inbox.put(Piece(AT, b"x"))
    inbox.take()
    assert inbox.take().pieces == ()


async def test_an_end_comes_after_the_pieces_before_it() -> None:
    inbox = _inbox()
    inbox.put(Piece(AT, b"x"))
    inbox.end(END)
    assert await inbox.wait() is None
    batch = inbox.take()
    assert (batch.pieces, batch.end) == ((Piece(AT, b"x"),), END)


async def test_an_error_of_the_reader_is_raised_where_its_pieces_are_awaited() -> None:
    inbox = _inbox()
    inbox.fail(RuntimeError("broken"))
    with pytest.raises(RuntimeError, match="broken"):
        await inbox.wait()


async def test_a_cancelled_wait_loses_nothing() -> None:
    inbox = _inbox()
    waiting = asyncio.create_task(inbox.wait())
    await let_run()
    inbox.put(Piece(AT, b"x"))
    waiting.cancel()
    await let_run()
    assert await inbox.wait() == AT


async def test_an_overflow_alone_is_something_to_take() -> None:
    inbox = _inbox(capacity_bytes=1)
    inbox.put(Piece(AT, b"xx"))
    assert await inbox.wait() is None
    assert inbox.take().overflow_bytes == 2


@given(st.lists(st.binary(min_size=1, max_size=8), max_size=30), st.integers(1, 60))
def test_what_is_kept_is_the_beginning_and_what_is_lost_is_counted(data: list[bytes], capacity: int) -> None:
    loop = asyncio.new_event_loop()
    inbox = Inbox(loop, capacity)
    for part in data:
        inbox.put(Piece(AT, part))
    batch = inbox.take()
    loop.close()
    kept = b"".join(piece.data for piece in batch.pieces)
    sent = b"".join(data)
    assert sent.startswith(kept)
    assert len(kept) <= capacity
    assert len(kept) + batch.overflow_bytes == len(sent)


async def test_there_is_room_again_after_taking() -> None:
    inbox = _inbox(capacity_bytes=1)
    inbox.put(Piece(AT, b"xx"))
    inbox.take()
    inbox.put(Piece(AT, b"y"))
    assert inbox.take().pieces == (Piece(AT, b"y"),)


class CountingLoop:
    """Counts how often a thread wakes it."""

    def __init__(self) -> None:
        self.wakes = 0

    def call_soon_threadsafe(self, call: Callable[[], object]) -> None:
        self.wakes += 1
        call()


async def test_many_pieces_wake_the_loop_once_and_none_while_it_is_busy() -> None:
    loop = CountingLoop()
    inbox = Inbox(cast("asyncio.AbstractEventLoop", loop))
    inbox.put(Piece(AT, b"x"))
    assert loop.wakes == 0
    inbox.take()
    waiting = asyncio.create_task(inbox.wait())
    await let_run()
    for _ in range(100):
        inbox.put(Piece(AT, b"x"))
    await waiting
    inbox.put(Piece(AT, b"x"))
    assert loop.wakes == 1
    assert len(inbox.take().pieces) == 101

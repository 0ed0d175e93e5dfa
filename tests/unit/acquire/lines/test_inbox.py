import asyncio
from collections.abc import Callable
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.events import Instant
from acquire.lines.inbox import TURN_BYTES, Inbox
from acquire.lines.rounds import Rounds
from acquire.lines.transport import Backlog, Batch, End, Piece
from acquire.sink import Ending
from tests.fakes.clock import let_run

AT = Instant(1, 1)
END = End(Ending.LOST, "gone", AT)


def _inbox(capacity_bytes: int = 100) -> Inbox:
    return Inbox(Rounds(), capacity_bytes, room_wait_s=0)


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
    inbox = Inbox(Rounds(loop=loop), capacity, room_wait_s=0)
    for part in data:
        inbox.put(Piece(AT, part))
    batch = inbox.take()
    loop.close()
    kept = b"".join(piece.data for piece in batch.pieces)
    sent = b"".join(data)
    assert sent.startswith(kept)
    assert len(kept) <= capacity
    assert len(kept) + batch.overflow_bytes == len(sent)


async def test_what_waits_and_what_found_no_room_can_be_asked_for() -> None:
    inbox = _inbox(capacity_bytes=3)
    inbox.put(Piece(AT, b"abc"))
    inbox.put(Piece(AT, b"de"))
    assert inbox.backlog == Backlog(3, 2, AT)
    inbox.take()
    assert inbox.backlog == Backlog()


async def test_there_is_room_again_after_taking() -> None:
    inbox = _inbox(capacity_bytes=1)
    inbox.put(Piece(AT, b"xx"))
    inbox.take()
    inbox.put(Piece(AT, b"y"))
    assert inbox.take().pieces == (Piece(AT, b"y"),)


async def test_one_turn_takes_no_more_than_its_share_and_the_end_comes_with_the_last() -> None:
    inbox = _inbox(capacity_bytes=10 * TURN_BYTES)
    pieces = [Piece(AT, bytes(TURN_BYTES // 2)) for _ in range(5)]
    for piece in pieces:
        inbox.put(piece)
    inbox.end(END)
    turns = [inbox.take() for _ in range(3)]
    assert [len(turn.pieces) for turn in turns] == [2, 2, 1]
    assert [turn.end for turn in turns] == [None, None, END]


async def test_a_piece_greater_than_a_turn_is_taken_whole() -> None:
    inbox = _inbox(capacity_bytes=10 * TURN_BYTES)
    inbox.put(Piece(AT, bytes(3 * TURN_BYTES)))
    assert len(inbox.take().pieces[0].data) == 3 * TURN_BYTES


async def test_a_full_inbox_holds_the_thread_up_until_there_is_room() -> None:
    inbox = Inbox(Rounds(), 1, room_wait_s=30)
    inbox.put(Piece(AT, b"a"))
    putting = asyncio.create_task(asyncio.to_thread(inbox.put, Piece(AT, b"b")))
    inbox.take()
    await asyncio.wait_for(putting, 30)
    assert inbox.take() == Batch((Piece(AT, b"b"),))


class CountingLoop:
    """Counts how often a thread wakes it."""

    def __init__(self) -> None:
        self.wakes = 0

    def time(self) -> float:
        return 0.0

    def call_soon_threadsafe(self, call: Callable[[], object]) -> None:
        self.wakes += 1
        call()


async def test_many_pieces_wake_the_loop_once_and_none_while_it_is_busy() -> None:
    loop = CountingLoop()
    inbox = Inbox(Rounds(loop=cast("asyncio.AbstractEventLoop", loop)))
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

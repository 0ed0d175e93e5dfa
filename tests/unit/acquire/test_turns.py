"""A slow driver holds up its own line and no other."""

import asyncio
import sys
import threading
import time
from collections.abc import Callable
from functools import partial

import pytest

from acquire.accounting import Account
from acquire.capture import OpenCapture
from acquire.events import Event, Instant
from acquire.sink import Chunk, Closing, Hearing
from acquire.turns import QUICK_IN_A_ROW, QUICK_WORK_NS, ApartWhileSlow, OnTheLoop, Turns
from tests.fakes.line_driver import FakeLineDrivers

LIMIT_S = 10
AT = Instant(1_000_000, 1_000_000_000)


def work_long() -> int:
    """Work for longer than a quick turn may, whatever else the machine does."""
    began_ns = time.thread_time_ns()
    while time.thread_time_ns() - began_ns <= QUICK_WORK_NS:
        pass
    return threading.get_ident()


async def is_on_the_loop(turns: Turns) -> bool:
    return await turns.take(threading.get_ident) == threading.get_ident()


async def known_to_be_quick() -> ApartWhileSlow:
    turns = ApartWhileSlow()
    for _ in range(QUICK_IN_A_ROW):
        await turns.take(lambda: None)
    return turns


async def test_the_loop_goes_on_while_a_driver_that_nobody_knows_takes_its_turn() -> None:
    gate = threading.Event()
    turn = asyncio.create_task(ApartWhileSlow().take(lambda: gate.wait(LIMIT_S)))
    await asyncio.sleep(0)
    gate.set()  # were the turn on the loop, nobody could
    assert await asyncio.wait_for(turn, LIMIT_S)


async def test_threads_give_way_sooner_while_a_turn_runs_apart_and_only_then() -> None:
    usual_s = sys.getswitchinterval()
    first, second = threading.Event(), threading.Event()
    turns = [
        asyncio.create_task(ApartWhileSlow().take(partial(gate.wait, LIMIT_S))) for gate in (first, second)
    ]
    within_s = await ApartWhileSlow().take(sys.getswitchinterval)
    assert within_s < usual_s
    first.set()
    await turns[0]
    assert sys.getswitchinterval() == within_s
    second.set()
    await turns[1]
    assert sys.getswitchinterval() == usual_s


async def test_a_driver_that_is_quick_comes_to_the_loop() -> None:
    turns = ApartWhileSlow()
    apart = [not await is_on_the_loop(turns) for _ in range(QUICK_IN_A_ROW)]
    assert all(apart)
    assert await is_on_the_loop(turns)


async def test_a_turn_that_worked_long_sends_the_next_apart() -> None:
    turns = await known_to_be_quick()
    assert await turns.take(work_long) == threading.get_ident()
    assert not await is_on_the_loop(turns)


async def test_one_slow_turn_in_a_row_makes_the_row_begin_anew() -> None:
    turns = ApartWhileSlow()
    for _ in range(QUICK_IN_A_ROW - 1):
        await turns.take(lambda: None)
    await turns.take(work_long)
    assert turns.is_apart
    for _ in range(QUICK_IN_A_ROW):
        assert turns.is_apart
        await turns.take(lambda: None)
    assert not turns.is_apart


def fail() -> None:
    raise ValueError("of the driver")


@pytest.mark.parametrize("make", [OnTheLoop, ApartWhileSlow])
async def test_what_a_turn_raises_reaches_its_line(make: Callable[[], Turns]) -> None:
    with pytest.raises(ValueError, match="of the driver"):
        await make().take(fail)


async def test_a_turn_that_was_given_up_is_told_to_nobody() -> None:
    gate, done = threading.Event(), threading.Event()

    def turn() -> None:
        gate.wait(LIMIT_S)
        done.set()

    task = asyncio.create_task(ApartWhileSlow().take(turn))
    await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    gate.set()
    assert await asyncio.to_thread(done.wait, LIMIT_S)


class Collected:
    """The sink of one capture."""

    def __init__(self) -> None:
        self.events: list[Event] = []

    async def heard(self, *hearings: Hearing) -> None:
        self.events += [event for hearing in hearings for event in hearing.events]

    async def closed(self, closing: Closing) -> None:
        """Take the end."""


async def heard_by(turns: Turns) -> list[Event]:
    sink = Collected()
    capture = OpenCapture(sink, Account(FakeLineDrivers()), turns)
    for piece in (b"pH 3.", b"41\npH 3.4", b"2\nwhat\n"):
        await capture.hear((Chunk(AT, piece),), AT, may_send=False)
    return sink.events


async def test_a_capture_says_the_same_wherever_its_driver_runs() -> None:
    assert await heard_by(ApartWhileSlow()) == await heard_by(OnTheLoop())
    assert await heard_by(OnTheLoop())

import asyncio

from acquire.clock import SystemClock, now, within
from acquire.events import Instant
from acquire.instants import moved
from tests.fakes.clock import FakeClock, let_run


async def _answer() -> str:
    return "here"


async def test_within_returns_what_came_in_time() -> None:
    assert await within(FakeClock(), _answer(), 1.0) == "here"


async def test_within_returns_nothing_when_the_time_ran_out() -> None:
    clock = FakeClock()
    waiting = asyncio.create_task(within(clock, asyncio.Event().wait(), 2.0))
    await clock.advance(1.9)
    assert not waiting.done()
    await clock.advance(0.1)
    assert waiting.result() is None


async def test_within_leaves_no_task_behind() -> None:
    before = asyncio.all_tasks()
    await within(FakeClock(), _answer(), 1.0)
    await let_run()
    assert asyncio.all_tasks() == before


def test_moving_an_instant_moves_both_of_its_hands() -> None:
    assert moved(Instant(5_000_000, 7_000_000_000), -2_000_000) == Instant(4_998_000, 6_998_000_000)


def test_the_system_clock_never_goes_back() -> None:
    clock = SystemClock()
    earlier = now(clock)
    assert now(clock).monotonic_ns >= earlier.monotonic_ns

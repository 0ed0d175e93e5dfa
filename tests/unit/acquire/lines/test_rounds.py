import asyncio
import threading
from collections.abc import Callable
from functools import partial
from typing import cast

from acquire.lines.rounds import Rounds
from tests.fakes.clock import let_run


class FakeLoop:
    """A loop whose time the test moves; counts how often a thread wakes it."""

    def __init__(self) -> None:
        self.now = 100.0
        self.wakes = 0
        self._later: list[tuple[float, Callable[[], object]]] = []

    def time(self) -> float:
        return self.now

    def call_soon_threadsafe(self, call: Callable[[], object]) -> None:
        self.wakes += 1
        call()

    def call_at(self, when: float, call: Callable[[], object]) -> None:
        self._later.append((when, call))

    def advance(self, duration_s: float) -> None:
        self.now += duration_s
        due = [call for when, call in self._later if when <= self.now]
        self._later = [one for one in self._later if one[0] > self.now]
        for call in due:
            call()


def _rounds(pace_s: float = 1.0) -> tuple[FakeLoop, Rounds]:
    loop = FakeLoop()
    return loop, Rounds(pace_s, cast("asyncio.AbstractEventLoop", loop))


def test_the_first_after_a_quiet_moment_is_heard_at_once() -> None:
    _, rounds = _rounds()
    heard: list[str] = []
    rounds.ring(lambda: heard.append("ph"))
    assert heard == ["ph"]


def test_who_rings_soon_after_waits_for_the_next_round_and_wakes_the_loop_together() -> None:
    loop, rounds = _rounds()
    heard: list[int] = []
    rounds.ring(lambda: heard.append(-1))
    for place in range(64):
        rounds.ring(partial(heard.append, place))
    assert heard == [-1]
    loop.advance(1.0)
    assert heard == list(range(-1, 64))
    assert loop.wakes == 2


def test_a_round_is_quiet_time_away_from_the_one_before() -> None:
    loop, rounds = _rounds()
    heard: list[float] = []
    for _ in range(3):
        rounds.ring(lambda: heard.append(loop.now))
        loop.advance(1.0)
    rounds.ring(lambda: heard.append(loop.now))
    assert heard == [100.0, 101.0, 102.0, 103.0]


def test_what_rings_during_a_round_belongs_to_the_next() -> None:
    loop, rounds = _rounds()
    heard: list[str] = []
    rounds.ring(lambda: rounds.ring(lambda: heard.append("again")))
    assert heard == []
    loop.advance(1.0)
    assert heard == ["again"]


def test_a_loop_that_is_closed_is_left_alone() -> None:
    loop = asyncio.new_event_loop()
    rounds = Rounds(loop=loop)
    loop.close()
    rounds.ring(lambda: None)


async def test_calls_of_many_threads_are_all_made_in_the_loop() -> None:
    rounds, heard = Rounds(pace_s=0.001), list[str]()
    own = threading.current_thread().name
    threads = [
        threading.Thread(target=rounds.ring, args=(lambda: heard.append(threading.current_thread().name),))
        for _ in range(20)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        await asyncio.to_thread(thread.join)
    async with asyncio.timeout(10):
        while len(heard) < len(threads):
            await let_run()
    assert heard == [own] * len(threads)

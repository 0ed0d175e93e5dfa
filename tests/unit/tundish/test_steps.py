"""What the daemon does beside hearing."""

import asyncio
import threading

import pytest
from sqlalchemy import select

from storage.errors import WriterClosedError
from storage.schema import heartbeat
from storage.store import Store
from storage.transaction import Transaction
from tests.fakes.clock import FakeClock
from tests.fakes.store_contents import enter
from tests.fakes.store_writer import SomeDisk
from tundish.steps import Heart, Ringer, all_taken, let_go_of_a_stuck_store, take_in


def test_one_beat_of_the_heart_waits_at_most(store: Store) -> None:
    gate = threading.Event()
    held = store.writer.submit(lambda _tx: gate.wait(10))
    clock = FakeClock()
    heart = Heart(store, clock, clock.monotonic_ns)
    for _ in range(5):
        heart.beat()
    assert store.writer.health().spool_items == 2  # the one that is held, and one beat
    gate.set()
    held.result(10)


def test_the_last_beat_says_up_to_when_all_is_kept(store: Store) -> None:
    clock = FakeClock()
    agos_us = iter([0, 7])
    heart = Heart(store, clock, lambda: clock.monotonic_ns() - next(agos_us) * 1000)
    for _ in range(2):
        heart.beat()
        store.writer.submit(lambda _tx: None).result(10)
    with store.reader() as connection:
        assert connection.execute(select(heartbeat.c.last_at_us)).all() == [(clock.utc_us() - 7,)]


class BusyIntake:
    """Step 2 of a bench that never falls silent: each step finds readings that came during the last."""

    def __init__(self, behind: int) -> None:
        self.steps = 0
        self._behind = behind

    @property
    def behind(self) -> bool:
        """Whether the last step left readings that were there when it began."""
        return self.steps < self._behind

    @property
    def place(self) -> int:
        """The number of the last reading that was taken."""
        return self.steps

    def step(self) -> int:
        """Take what came."""
        self.steps += 1
        return 1


@pytest.mark.parametrize(("behind", "steps"), [(0, 1), (3, 3)])
async def test_a_round_of_step_2_takes_what_was_there_and_leaves_the_rest_to_the_next(
    behind: int, steps: int
) -> None:
    intake = BusyIntake(behind)
    assert await all_taken(intake)
    assert intake.steps == steps


class NotingIntake(BusyIntake):
    """Step 2 that notes its steps among other things, and tells of the second."""

    def __init__(self, notes: list[str], second: threading.Event) -> None:
        super().__init__(behind=0)
        self._notes = notes
        self._second = second

    def step(self) -> int:
        """Take what came."""
        self._notes.append("step")
        if self._notes.count("step") == 2:
            self._second.set()
        return super().step()


async def test_what_is_heard_after_a_quiet_moment_is_taken_at_once(store: Store) -> None:
    notes: list[str] = []
    second, paused = threading.Event(), asyncio.Event()

    async def sleep(_pause_s: float) -> None:
        notes.append("pause")
        paused.set()

    taking = asyncio.create_task(take_in(store, NotingIntake(notes, second), sleep=sleep))
    await asyncio.wait_for(paused.wait(), 10)
    store.writer.submit(lambda tx: enter(tx, "something.said", {})).result(10)
    assert await asyncio.to_thread(second.wait, 10)
    taking.cancel()
    assert notes[:3] == ["step", "pause", "step"]


async def test_a_beat_of_the_heart_which_enters_nothing_lets_nobody_look_for_readings() -> None:
    bell = asyncio.Event()
    ringer = Ringer(asyncio.get_running_loop(), bell, head=3)
    rung = []
    for head in (3, 4, 4):
        bell.clear()
        ringer.ring(head)
        await asyncio.sleep(0)
        rung.append(bell.is_set())
    assert rung == [False, True, False]


def full(_tx: Transaction) -> None:
    raise SomeDisk(13)  # SQLITE_FULL


async def test_a_store_that_stays_full_is_let_go_so_that_a_stop_ends(store: Store) -> None:
    waiting = store.writer.submit(full)
    letting_go = asyncio.create_task(let_go_of_a_stuck_store(store.writer, after_s=0.01))
    with pytest.raises(WriterClosedError, match="disk trouble"):
        await asyncio.wait_for(asyncio.wrap_future(waiting), 10)
    letting_go.cancel()


async def test_a_store_that_is_well_is_not_let_go(store: Store) -> None:
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(let_go_of_a_stuck_store(store.writer, after_s=0.01), 0.05)
    await asyncio.wrap_future(store.writer.submit(lambda _tx: None))
    assert store.writer.close()

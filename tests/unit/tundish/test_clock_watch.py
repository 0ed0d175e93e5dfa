"""Steps of the host's clock and changes of its quality become ledger entries."""

from dataclasses import dataclass, field

import pytest

from storage.queries import ClockEventRecord, clock_events_before, last_clock_step
from storage.store import Store
from tests.unit.tundish.conftest import AT_US
from tundish.clock_watch import BEHIND, ClockWatch
from tundish.host_clock import STEP_US, ClockReading, Judgement, Quality

GOOD = Judgement(Quality.IN_STEP, "a time service keeps it in step", 900)
ALONE = Judgement(Quality.NOT_IN_STEP, "it runs by itself")
SECOND_US = 1_000_000


@dataclass
class Host:
    """A computer whose clock the test sets."""

    utc_us: int = AT_US
    steady_ns: int = 0
    judgement: Judgement = field(default=GOOD)

    def read(self) -> ClockReading:
        return ClockReading(self.utc_us, self.steady_ns)

    def judge(self) -> Judgement:
        return self.judgement

    def pass_time(self, seconds: int = 1, step_us: int = 0) -> None:
        self.utc_us += seconds * SECOND_US + step_us
        self.steady_ns += seconds * 10**9


@pytest.fixture
def host() -> Host:
    return Host()


def watching(store: Store, host: Host, last_alive_us: int | None = None) -> ClockWatch:
    watch = ClockWatch(store.writer, host.read, host.judge)
    watch.begin(store.begin_session("0", "in step", host.utc_us), last_alive_us)
    return watch


def noted(store: Store) -> list[ClockEventRecord]:
    store.writer.submit(lambda tx: None).result(10)  # what was handed over before it is written by then
    with store.reader() as connection:
        return clock_events_before(connection, before=None, limit=100)[::-1]


@pytest.mark.parametrize("step_us", [3600 * SECOND_US, -3600 * SECOND_US, STEP_US, -STEP_US])
def test_a_step_is_entered_with_its_size_and_its_moment(store: Store, host: Host, step_us: int) -> None:
    watch = watching(store, host)
    host.pass_time(1, step_us)
    watch.look()
    (event,) = noted(store)
    assert (event.event, event.step_us, event.at_us) == ("stepped", step_us, AT_US + SECOND_US + step_us)
    assert (event.quality, event.max_error_us) == ("in_step", 900)
    assert ("forward" if step_us > 0 else "back") in event.why
    with store.reader() as connection:
        assert last_clock_step(connection) == event


def test_a_clock_that_goes_on_is_not_worth_an_entry(store: Store, host: Host) -> None:
    watch = watching(store, host)
    for _ in range(100):
        host.pass_time(1, STEP_US // 2)
        watch.look()
    assert noted(store) == []


def test_two_steps_are_two_entries(store: Store, host: Host) -> None:
    watch = watching(store, host)
    for step_us in (SECOND_US, -SECOND_US):
        host.pass_time(1, step_us)
        watch.look()
    assert [event.step_us for event in noted(store)] == [SECOND_US, -SECOND_US]


def test_a_change_of_quality_is_entered_once(store: Store, host: Host) -> None:
    watch = watching(store, host)
    host.judgement = ALONE
    for _ in range(3):
        host.pass_time()
        watch.look()
    assert watch.judgement == ALONE
    (event,) = noted(store)
    assert (event.event, event.quality, event.why, event.step_us) == (
        "judged",
        "not_in_step",
        "it runs by itself",
        None,
    )


def test_another_error_bound_is_no_change_of_quality(store: Store, host: Host) -> None:
    watch = watching(store, host)
    host.judgement = Judgement(Quality.IN_STEP, "a time service keeps it in step", 1000)
    watch.look()
    assert watch.judgement.max_error_us == 1000
    assert noted(store) == []


def test_a_clock_behind_the_last_sign_of_life_has_lost_its_time(store: Store, host: Host) -> None:
    watching(store, host, last_alive_us=AT_US + 7200 * SECOND_US)
    (event,) = noted(store)
    assert (event.event, event.step_us, event.why) == ("stepped", -7200 * SECOND_US, BEHIND)


@pytest.mark.parametrize("last_alive_us", [None, AT_US - 7200 * SECOND_US, AT_US + STEP_US - 1])
def test_a_daemon_that_was_away_is_no_step(store: Store, host: Host, last_alive_us: int | None) -> None:
    watching(store, host, last_alive_us)
    assert noted(store) == []


def test_what_the_store_does_not_take_waits_and_is_lost_only_with_the_store(store: Store, host: Host) -> None:
    watch = watching(store, host)
    host.pass_time(1, SECOND_US)
    store.writer.close()
    watch.look()
    watch.look()
    assert len(watch._waiting) == 1

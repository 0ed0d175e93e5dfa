"""A titration while it runs: when it begins and ends, what is warned of, and that a crash changes nothing."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bench import tray
from bench.intake import Intake
from bench.runs import SILENCE_US, RunWatch
from bench.tray import NewItem
from storage.queries import faults_before
from storage.queries.result_statements import ResultFilter
from storage.queries.results import results_after
from storage.queries.runs import Run, points_of_run, run_warnings, runs_after
from storage.store import Store
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.running_burette import RunningBurette, acid_curve
from tests.unit.bench.acts import act, make, person

TA: dict[str, Any] = {
    "name": "TA to pH 8.2",
    "quantity": "ta_ph_8_2",
    "formula": "ta_ph_8_2",
    "reading_quantity": "dispensed_volume",
    "aliquot_ml": 10.0,
    "titrant": "N-0925",
}
VOLUME = Answer("dispensed_volume", "8.400", "mL")


@pytest.fixture
def filler(store: Store) -> Filler:
    make(store, "reagent", "N-0925", name="NaOH", reagent_kind="titrant", nominal_mol_per_l=0.1)
    make(store, "sample", "CK4H7M")
    return Filler(store)


@pytest.fixture
def burette(filler: Filler) -> RunningBurette:
    return RunningBurette(filler)


def watch(store: Store, clock_us: Callable[[], int] = lambda: NOON_US) -> RunWatch:
    return RunWatch(store, clock_us, "tundish")


def runs(store: Store) -> list[Run]:
    with store.reader() as connection:
        return runs_after(connection)


def warnings(store: Store, run: Run) -> list[str]:
    with store.reader() as connection:
        return [one.code for one in run_warnings(connection, run.number)]


def set_on(store: Store, filler: Filler, method: str = "ta") -> None:
    (item,) = act(
        store, lambda tx: tray.put(tx, person(), "burette-1", [NewItem("sample", "CK4H7M", None, (method,))])
    )
    act(store, lambda tx: tray.set_on_item(tx, person(at_us=filler.at_us), "burette-1", item, "tap"))


def test_a_run_begins_with_its_first_point_and_ends_when_the_instrument_says_so(
    store: Store, burette: RunningBurette
) -> None:
    watched = watch(store)
    burette.begin()
    burette.draw([(0.0, 3.4), (1.0, 4.0)])
    watched.step()
    (run,) = runs(store)
    assert (run.instrument, run.how) == ("burette-1", None)
    burette.point(2.0, 5.0)
    burette.end()
    watched.step()
    (run,) = runs(store)
    assert run.how == "ended"
    with store.reader() as connection:
        assert [one.volume_ml for one in points_of_run(connection, run)] == [0.0, 1.0, 2.0]


def test_a_run_takes_sample_item_and_method_from_what_stands_on_the_instrument(
    store: Store, filler: Filler, burette: RunningBurette
) -> None:
    make(store, "method", "ta", **TA)
    set_on(store, filler)
    burette.draw([(0.0, 3.4)])
    watch(store).step()
    (run,) = runs(store)
    assert None not in (run.sample_id, run.item_id, run.method_id)


def test_the_id_in_the_frames_names_the_sample(store: Store, burette: RunningBurette) -> None:
    burette.begin(sample="CK4H7M")
    burette.point(0.0, 3.4)
    watch(store).step()
    assert runs(store)[0].sample_id is not None


def test_an_aborted_run_says_so(store: Store, burette: RunningBurette) -> None:
    burette.begin()
    burette.draw([(0.0, 3.4), (1.0, 4.0)])
    burette.end(aborted=True)
    watch(store).step()
    assert [one.how for one in runs(store)] == ["aborted"]


def test_a_run_that_never_ended_is_lost_when_another_begins(store: Store, burette: RunningBurette) -> None:
    burette.begin("117")
    burette.draw([(0.0, 3.4), (1.0, 4.0)])
    burette.begin("118")
    burette.point(0.0, 3.3)
    watch(store).step()
    first, second = runs(store)
    assert (first.how, second.how) == ("lost", None)
    with store.reader() as connection:
        assert len(points_of_run(connection, first)) == 2


def test_a_run_of_which_nothing_more_is_heard_is_given_up(store: Store, burette: RunningBurette) -> None:
    clock = [NOON_US]
    watched = watch(store, lambda: clock[0])
    burette.draw([(0.0, 3.4), (1.0, 4.0)])
    watched.step()
    clock[0] = burette.filler.at_us + SILENCE_US + 1
    watched.step()
    assert [one.how for one in runs(store)] == ["timed_out"]


def test_a_fault_of_ours_is_entered_once_and_stops_nothing(store: Store, burette: RunningBurette) -> None:
    broken = [False]

    def clock_us() -> int:
        if broken[0]:
            broken[0] = False
            raise RuntimeError("a fault of ours")
        return NOON_US

    watched = watch(store, clock_us)
    burette.draw([(0.0, 3.4)])
    watched.step()
    broken[0] = True
    burette.point(1.0, 4.0)
    watched.step()
    burette.draw([(2.0, 5.0)])
    burette.end()
    watched.step()
    assert [one.how for one in runs(store)] == ["ended"]
    with store.reader() as connection:
        faults = [one.text for one in faults_before(connection, before=2**62, limit=10)]
    assert len(faults) == 1
    assert "a fault of ours" in faults[0]


def test_two_instruments_run_side_by_side(store: Store, filler: Filler, burette: RunningBurette) -> None:
    other = RunningBurette(filler, "second", "burette-2")
    for volume in range(3):
        burette.point(volume, 3.4)
        other.point(volume, 3.5)
    burette.end()
    watch(store).step()
    assert {(one.instrument, one.how) for one in runs(store)} == {("burette-1", "ended"), ("burette-2", None)}


LIVE = {"start_low": 2.5, "start_high": 4.5, "answer_dose_ml": 0.5, "least_answer": 0.02, "capacity_ml": 10.0}


@pytest.mark.parametrize(
    ("curve", "warned"),
    [
        ([(0.0, 3.4), (0.4, 3.6), (0.8, 3.8)], []),
        ([(0.0, 7.1), (0.4, 7.3)], ["start_outside"]),
        ([(0.0, 3.4), (0.3, 3.4), (0.6, 3.4), (0.9, 3.41)], ["no_answer"]),
        ([(0.0, 3.4), (5.0, 5.0), (10.0, 7.0)], ["run_out"]),
    ],
)
def test_what_looks_wrong_is_told_while_it_runs(
    store: Store, filler: Filler, burette: RunningBurette, curve: Any, warned: list[str]
) -> None:
    make(store, "method", "ta", **TA, live_limits=LIVE)
    set_on(store, filler)
    watched = watch(store)
    burette.draw(curve)
    watched.step()
    (run,) = runs(store)
    assert (run.how, warnings(store, run)) == (None, warned)


def test_a_signal_that_is_lost_is_told_without_any_method(store: Store, burette: RunningBurette) -> None:
    burette.point(0.0, 3.4)
    for volume in (0.1, 0.2, 0.3):
        burette.point(volume, None)
    watch(store).step()
    assert warnings(store, runs(store)[0]) == ["no_signal"]


def test_a_result_belongs_to_the_run_that_gave_it_and_carries_its_warnings(
    store: Store, filler: Filler, burette: RunningBurette
) -> None:
    make(store, "method", "ta", **TA, live_limits=LIVE)
    set_on(store, filler)
    intake = Intake(store, lambda: NOON_US, "tundish", runs=watch(store))
    burette.begin()
    burette.draw([(0.0, 3.4), (0.3, 3.4), (0.6, 3.4), (8.0, 8.0)])
    burette.end(VOLUME)
    while intake.step():
        pass
    (run,) = runs(store)
    with store.reader() as connection:
        (result,) = results_after(connection, ResultFilter())
    assert (result.run_id, result.standing) == (run.number, "look_again")
    assert "run.warned" in result.reasons


def test_a_result_from_the_memory_of_the_instrument_belongs_to_no_run_of_another(
    store: Store, filler: Filler, burette: RunningBurette
) -> None:
    make(store, "method", "ta", **TA)
    set_on(store, filler)
    intake = Intake(store, lambda: NOON_US, "tundish", runs=watch(store))
    burette.begin("118")
    burette.point(0.0, 3.4)
    late = Answer("dispensed_volume", "8.1", "mL", sequence="12")
    filler.hear(burette.capture, b"from memory", [late])
    while intake.step():
        pass
    with store.reader() as connection:
        (result,) = results_after(connection, ResultFilter())
    assert result.run_id is None


def test_an_aborted_run_leaves_no_result_that_may_be_used(
    store: Store, filler: Filler, burette: RunningBurette
) -> None:
    make(store, "method", "ta", **TA)
    set_on(store, filler)
    intake = Intake(store, lambda: NOON_US, "tundish", runs=watch(store))
    burette.begin()
    burette.draw([(0.0, 3.4), (1.0, 4.0)])
    burette.end(VOLUME, aborted=True)
    while intake.step():
        pass
    with store.reader() as connection:
        (result,) = results_after(connection, ResultFilter())
    assert result.standing == "do_not_use"
    assert "run.aborted" in result.reasons


def story(store: Store) -> list[tuple[Any, ...]]:
    """Return everything that was entered of runs, without the numbers of the entries."""
    with store.reader() as connection:
        return [
            (
                one.instrument,
                one.started_at_us,
                one.how,
                [(w.code, w.at_us) for w in run_warnings(connection, one.number)],
                [(p.volume_ml, p.signal) for p in points_of_run(connection, one)],
            )
            for one in runs_after(connection)
        ]


EIGHT = st.lists(st.booleans(), min_size=8, max_size=8)


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=EIGHT, crashes=EIGHT)
def test_when_it_is_looked_at_and_where_it_crashes_changes_nothing(
    new_store: Callable[[str], Store], steps: list[bool], crashes: list[bool]
) -> None:
    found = []
    for look, crash in ((steps, crashes), ([False] * 8, [False] * 8)):
        store = new_store("real")
        make(store, "reagent", "N-0925", name="NaOH", reagent_kind="titrant", nominal_mol_per_l=0.1)
        make(store, "sample", "CK4H7M")
        make(store, "method", "ta", **TA, live_limits=LIVE)
        filler = Filler(store)
        set_on(store, filler)
        burette = RunningBurette(filler)
        watched = watch(store)
        said: list[Callable[[], Any]] = [
            partial(burette.begin, "1"),
            partial(burette.draw, [(0.0, 3.4), (0.3, 3.4)]),
            partial(burette.point, 0.6, 3.4),
            partial(burette.point, 0.9, 3.4),
            burette.end,
            partial(burette.begin, "2"),
            partial(burette.draw, [(0.0, 7.4), (0.3, 7.6)]),
            partial(burette.point, 0.6, None),
        ]
        for what, now, dies in zip(said, look, crash, strict=True):
            what()
            if now:
                watched.step()
            if dies:
                watched = watch(store)
        watched.step()
        found.append(story(store))
        store.close()
    assert found[0] == found[1]


def test_a_whole_curve_is_kept_with_its_run(store: Store, burette: RunningBurette) -> None:
    burette.begin()
    burette.draw(acid_curve())
    burette.end()
    watch(store).step()
    (run,) = runs(store)
    with store.reader() as connection:
        points = points_of_run(connection, run)
    assert [one.volume_ml for one in points] == pytest.approx([volume for volume, _ in acid_curve()])
    assert [one.signal for one in points] == pytest.approx([signal for _, signal in acid_curve()])

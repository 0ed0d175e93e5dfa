"""Streaming instruments: one reading of record for each value that comes to rest, or that somebody takes."""

from collections.abc import Sequence
from itertools import count

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import event

from bench import tray
from bench.actor import Actor
from bench.canonical_json import from_text
from bench.intake import Intake
from bench.refused import MalformedError, NotThereError, RefusedError
from bench.settle import rule_of, rules_of, shown
from bench.standing import stored_causes
from bench.tap import STALE_S, tap
from storage.ledger import ActorKind
from storage.queries.result_statements import ResultFilter
from storage.queries.results import CurrentResult, results_after
from storage.queries.settling import SettledRecord, settled_after
from storage.store import Store
from storage.verify import verify
from tests.fakes.filled_store import NOON_US, SECOND_US, Answer, Filler, OpenCapture
from tests.unit.bench.acts import act, make, person, take_in

METER = "meter-1"
RULE = {"span": 0.02, "window_s": 5.0, "longest_wait_s": 60.0, "longest_gap_s": 10.0}
COMING = ["3.80", "3.60", "3.50", "3.44", "3.42"]
AT_REST = ["3.41", "3.41", "3.40", "3.41", "3.40", "3.41", "3.41"]


@pytest.fixture
def filler(store: Store) -> Filler:
    """A meter that streams, a method for its pH, and two samples."""
    make(store, "instrument", METER, name="meter", settling={"ph": RULE})
    make(store, "method", "ph", name="pH", quantity="ph", formula="as_read")
    for code in ("W-1", "W-2"):
        make(store, "sample", code)
    return Filler(store)


@pytest.fixture
def meter(filler: Filler) -> OpenCapture:
    return filler.open("ph", METER)


def stream(filler: Filler, meter: OpenCapture, texts: Sequence[str], stable: int | None = None) -> list[int]:
    """Hear one value a second."""
    return [filler.hear(meter, text.encode(), [Answer("ph", text, "pH", stable=stable)])[0] for text in texts]


def test_the_rules_of_many_instruments_are_one_question(store: Store, filler: Filler) -> None:
    asked: list[str] = []
    with store.reader() as connection:
        event.listen(connection, "before_cursor_execute", lambda *said: asked.append(said[2]))
        found = rules_of(connection, {METER, *(f"balance-{number}" for number in range(64))})
        assert len(asked) == 1
        assert found == {(METER, "ph"): rule_of(connection, METER, "ph")}


def set_on(store: Store, filler: Filler, sample: str) -> None:
    filler.at_us += SECOND_US
    by = person(at_us=filler.at_us)
    act(store, lambda tx: tray.set_on_sample(tx, by, METER, sample, "tap"))


def settled(store: Store) -> list[SettledRecord]:
    with store.reader() as connection:
        return settled_after(connection, after=0, limit=100)


def results(store: Store) -> list[CurrentResult]:
    with store.reader() as connection:
        return results_after(connection, ResultFilter())


def by(filler: Filler, after_s: float = 1.0) -> Actor:
    return Actor("MAL", ActorKind.PERSON, filler.at_us + round(after_s * SECOND_US))


def test_a_value_that_comes_to_rest_makes_one_result_however_long_it_stays(
    store: Store, filler: Filler, meter: OpenCapture
) -> None:
    set_on(store, filler, "W-1")
    ids = stream(filler, meter, COMING + AT_REST + AT_REST)
    take_in(store)
    (found,) = settled(store)
    assert [one.value for one in results(store)] == [3.41]
    assert (found.how, found.verdict, found.instrument, found.quantity) == ("rule", "stable", METER, "ph")
    assert from_text(found.rule or "")["span"] == 0.02
    stretch = ids[ids.index(found.first_reading_id) : ids.index(found.reading_id) + 1]
    assert len(stretch) == found.readings == 6
    assert found.span == pytest.approx(0.01)


def test_a_value_that_never_rests_makes_none(store: Store, filler: Filler, meter: OpenCapture) -> None:
    set_on(store, filler, "W-1")
    stream(filler, meter, [f"{3 + step / 10:.2f}" for step in range(20)])
    take_in(store)
    assert settled(store) == []
    assert results(store) == []


def test_the_next_sample_settles_for_itself_though_its_value_is_the_same(
    store: Store, filler: Filler, meter: OpenCapture
) -> None:
    for sample in ("W-1", "W-2"):
        set_on(store, filler, sample)
        stream(filler, meter, AT_REST)
        take_in(store)
    first, second = results(store)
    assert first.sample_id != second.sample_id
    assert [one.value for one in (first, second)] == [3.41, 3.41]


def test_a_value_that_moves_on_settles_again(store: Store, filler: Filler, meter: OpenCapture) -> None:
    set_on(store, filler, "W-1")
    stream(filler, meter, [*AT_REST, "3.60", "3.90", *["4.00"] * 7])
    take_in(store)
    assert [one.value for one in results(store)] == [3.41, 4.0]


def test_while_the_instrument_says_not_stable_nothing_settles(
    store: Store, filler: Filler, meter: OpenCapture
) -> None:
    set_on(store, filler, "W-1")
    stream(filler, meter, AT_REST, stable=0)
    take_in(store)
    assert settled(store) == []


def test_a_silence_begins_the_window_anew(store: Store, filler: Filler, meter: OpenCapture) -> None:
    set_on(store, filler, "W-1")
    stream(filler, meter, AT_REST[:4])
    filler.at_us += 30 * SECOND_US
    stream(filler, meter, AT_REST[:4])
    take_in(store)
    assert settled(store) == []


def test_a_host_clock_that_is_put_back_begins_the_window_anew_and_stops_nothing(
    store: Store, filler: Filler, meter: OpenCapture
) -> None:
    stream(filler, meter, AT_REST[:4])
    filler.at_us -= 60 * SECOND_US
    stream(filler, meter, AT_REST)
    take_in(store)
    assert len(settled(store)) == 1


def test_an_instrument_without_a_rule_makes_a_result_of_each_reading(store: Store, filler: Filler) -> None:
    by_hand = person(at_us=filler.at_us)
    act(store, lambda tx: tray.set_on_sample(tx, by_hand, "other", "W-1", "tap"))
    other = filler.open("other", "other")
    for text in AT_REST[:3]:
        filler.hear(other, text.encode(), [Answer("ph", text, "pH")])
    take_in(store)
    assert len(results(store)) == 3


def test_somebody_takes_a_value_that_came_to_rest(store: Store, filler: Filler, meter: OpenCapture) -> None:
    set_on(store, filler, "W-1")
    stream(filler, meter, [*AT_REST, "3.41"])
    found = act(store, lambda tx: tap(tx, by(filler), METER, "ph"))
    assert (found.how, found.verdict) == ("person", "stable")
    (made,) = results(store)
    assert made.value == 3.41
    assert "outcome.not_stable" not in {cause.code for cause in stored_causes(made.reasons)}


def test_a_value_taken_before_it_came_to_rest_is_marked_so(
    store: Store, filler: Filler, meter: OpenCapture
) -> None:
    set_on(store, filler, "W-1")
    stream(filler, meter, COMING)
    found = act(store, lambda tx: tap(tx, by(filler), METER, "ph"))
    assert found.verdict == "waiting"
    (made,) = results(store)
    (cause,) = [one for one in stored_causes(made.reasons) if one.code == "outcome.not_stable"]
    assert "MAL took reading" in cause.evidence
    assert "0.02 over 5 s is wanted" in cause.evidence
    with store.reader() as connection:
        assert verify(connection).in_order


def test_what_was_taken_does_not_settle_there_again(store: Store, filler: Filler, meter: OpenCapture) -> None:
    set_on(store, filler, "W-1")
    stream(filler, meter, [*COMING, "3.41"])
    act(store, lambda tx: tap(tx, by(filler), METER, "ph"))
    stream(filler, meter, AT_REST)
    take_in(store)
    assert [one.how for one in settled(store)] == ["person"]
    assert len(results(store)) == 1


def test_the_same_reading_is_not_taken_twice(store: Store, filler: Filler, meter: OpenCapture) -> None:
    stream(filler, meter, COMING)
    act(store, lambda tx: tap(tx, by(filler), METER, "ph"))
    with pytest.raises(RefusedError, match="was taken already"):
        act(store, lambda tx: tap(tx, by(filler), METER, "ph"))


def test_what_was_said_long_ago_is_not_what_stands_there_now(
    store: Store, filler: Filler, meter: OpenCapture
) -> None:
    stream(filler, meter, COMING)
    with pytest.raises(RefusedError, match="40 s old"):
        act(store, lambda tx: tap(tx, by(filler, STALE_S + 10), METER, "ph"))


def test_nothing_is_taken_of_what_was_never_heard(store: Store, filler: Filler, meter: OpenCapture) -> None:
    with pytest.raises(NotThereError):
        act(store, lambda tx: tap(tx, by(filler), METER, "ph"))


def test_a_value_without_a_rule_is_taken_without_a_verdict(store: Store, filler: Filler) -> None:
    other = filler.open("other", "other")
    filler.hear(other, b"3.41", [Answer("ph", "3.41", "pH")])
    found = act(store, lambda tx: tap(tx, by(filler), "other", "ph"))
    assert (found.verdict, found.rule, found.waited_s) == ("no_rule", None, None)


def test_what_a_stream_shows_now_says_how_far_it_has_come(
    store: Store, filler: Filler, meter: OpenCapture
) -> None:
    stream(filler, meter, [*COMING, "3.42"])
    with store.reader() as connection:
        rule, stretch = shown(connection, METER, "ph")
    assert rule is not None
    assert stretch.figures(rule).verdict == "waiting"
    assert stretch.said.waited_s == pytest.approx(5.0)


@pytest.mark.parametrize("wrong", [{"span": -1}, {"window_s": 0}, {"window_s": 600.0}, {"least_readings": 1}])
def test_a_rule_by_which_nothing_could_settle_is_refused(store: Store, wrong: dict[str, float]) -> None:
    with pytest.raises(MalformedError):
        make(store, "instrument", "odd", name="odd", settling={"ph": {**RULE, **wrong}})


@given(
    st.lists(st.sampled_from(["3.40", "3.41", "3.42", "3.60", "4.00", "4.01"]), max_size=40),
    st.lists(st.integers(1, 12), min_size=1, max_size=40),
)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_settles_does_not_depend_on_how_readings_come_in_batches_or_on_a_restart(
    store: Store, texts: list[str], batches: list[int]
) -> None:
    names = [f"batch-{next(_names)}" for _ in range(3)]
    told = []
    for name, sizes, restarts in zip(
        names, (batches, batches, [len(texts) or 1]), (False, True, False), strict=True
    ):
        told.append(_settled_in_batches(store, name, texts, sizes, restarts=restarts))
    assert told[0] == told[1] == told[2]


_names = count()


def _settled_in_batches(
    store: Store, name: str, texts: Sequence[str], sizes: Sequence[int], *, restarts: bool
) -> list[tuple[int, int, int]]:
    """Hear texts from a meter of its own, take them in batch by batch, and return which settled."""
    make(store, "instrument", name, name=name, settling={"ph": RULE})
    filler = Filler(store)
    meter = filler.open(name, name)
    intake = Intake(store, lambda: NOON_US, "tundish")
    ids: list[int] = []
    place = 0
    for size in [*sizes, len(texts)]:
        ids += stream(filler, meter, texts[place : place + size])
        place += size
        if restarts:
            intake = Intake(store, lambda: NOON_US, "tundish")
        while intake.step():
            pass
    with store.reader() as connection:
        found = settled_after(connection, after=0, limit=1000, instrument=name)
    return [(ids.index(one.first_reading_id), ids.index(one.reading_id), one.readings) for one in found]

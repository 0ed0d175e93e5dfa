"""Messages that come again from an instrument's memory count once; replicates that are equal stay two."""

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from bench.repeats import SAME_NUMBER, SAME_TIME, names_its_message, repeats
from storage.queries.readings import untaken_readings
from storage.schema import taken
from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tests.fakes.store_contents import open_at_noon
from tests.unit.bench.acts import make, take_in

METER: Final = "ph-meter-1"
NINE: Final = "2025-10-03T09:00:00"


class Meter:
    """A meter that tells its own time, and numbers nothing."""

    def __init__(self, store: Store) -> None:
        self._filler = Filler(store)
        self._capture = self._filler.open("ph", METER)

    def says(self, text: str, time: str | None, quantity: str = "ph", sample: str | None = None) -> int:
        unit = {"ph": "pH", "temperature": "°C"}[quantity]
        return self.sends([Answer(quantity, text, unit, instrument_time=time, sample=sample)])[0]

    def sends(self, answers: Sequence[Answer]) -> list[int]:
        """Send one message."""
        return self._filler.hear(self._capture, b"x", answers)


@pytest.fixture
def meter(store: Store) -> Meter:
    return Meter(store)


def repeated(store: Store) -> dict[int, int]:
    """Take everything in and return what was marked, with what it repeats."""
    take_in(store)
    with store.reader() as connection:
        rows = connection.execute(select(taken.c.reading_number, taken.c.repeat_of))
        return {number: of for number, of in rows if of is not None}


def at(second: int) -> str:
    return f"2025-10-03T09:00:{second:02d}"


def test_a_memory_sent_again_by_an_instrument_that_tells_only_the_time_counts_once(
    store: Store, meter: Meter
) -> None:
    first = [meter.says(text, at(second)) for second, text in enumerate(["3.41", "3.52", "3.41"])]
    take_in(store)
    again = [meter.says(text, at(second)) for second, text in enumerate(["3.41", "3.52"])]
    assert repeated(store) == dict(zip(again, first[:2], strict=True))


def test_equal_replicates_within_one_second_stay_two_and_are_two_when_they_come_again(
    store: Store, meter: Meter
) -> None:
    first, _ = meter.says("3.41", NINE), meter.says("3.41", NINE)
    meter.says("3.50", at(9))
    assert repeated(store) == {}
    again = [meter.says("3.41", NINE) for _ in range(2)]
    assert repeated(store) == dict.fromkeys(again, first)


def test_a_clock_that_stands_still_marks_nothing(store: Store, meter: Meter) -> None:
    for _ in range(5):
        meter.says("3.41", NINE)
    assert repeated(store) == {}


@pytest.mark.parametrize("time", ["2025-10-03T09:00", "2025-10-03", "09:00:00", None])
def test_a_time_that_does_not_name_the_message_marks_nothing(
    store: Store, meter: Meter, time: str | None
) -> None:
    meter.says("3.41", time)
    meter.says("3.50", None if time is None else "2025-10-03T09:05")
    meter.says("3.41", time)
    assert repeated(store) == {}


def test_another_value_or_sample_at_the_same_time_is_no_repeat(store: Store, meter: Meter) -> None:
    meter.says("3.41", NINE, sample="W-1")
    meter.says("3.50", at(9))
    meter.says("3.42", NINE, sample="W-1")
    meter.says("3.41", NINE, sample="W-2")
    assert repeated(store) == {}


def test_all_that_a_message_says_comes_again_with_it(store: Store, meter: Meter) -> None:
    both = [
        Answer("ph", "3.41", "pH", instrument_time=NINE),
        Answer("temperature", "20.1", "°C", instrument_time=NINE),
    ]
    first = meter.sends(both)
    meter.says("3.50", at(9))
    again = meter.sends(both)
    assert repeated(store) == dict(zip(again, first, strict=True))


@pytest.mark.parametrize("sequence", [None, "17"])
def test_one_message_that_says_the_same_twice_says_it_twice(
    store: Store, meter: Meter, sequence: str | None
) -> None:
    twice = [Answer("ph", "3.41", "pH", instrument_time=NINE, sequence=sequence)] * 2
    first = meter.sends(twice)
    meter.says("3.50", at(9))
    assert repeated(store) == {}
    again = meter.sends(twice)
    assert repeated(store) == dict(zip(again, first, strict=True))


def test_a_stream_has_no_repeats(store: Store, meter: Meter) -> None:
    """Its clock may be set back an hour in autumn, and its values are equal by nature."""
    make(store, "instrument", METER, name="meter", settling={"ph": {"span": 0.01, "window_s": 15}})
    meter.says("3.41", NINE)
    meter.says("3.41", at(9))
    meter.says("3.41", NINE)
    assert repeated(store) == {}


MESSAGES = st.lists(st.tuples(st.sampled_from(["3.41", "3.42"]), st.integers(0, 3)), max_size=12)


@settings(max_examples=8)  # a store is made for each
@given(messages=MESSAGES, cut=st.integers(0, 12))
def test_which_messages_repeat_does_not_depend_on_how_they_came_together(
    messages: list[tuple[str, int]], cut: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("bench")
    with closing(open_at_noon(folder / "cellar.db")) as store:
        meter = Meter(store)
        for text, second in messages:
            meter.says(text, at(second))
        with store.reader() as connection:
            readings = untaken_readings(connection, after=0, limit=100)
            whole = repeats(connection, readings)
            parts = repeats(connection, readings[:cut]) | repeats(connection, readings[cut:])
    assert parts == whole


@pytest.mark.parametrize(
    ("sequence", "time", "named"),
    [
        ("17", None, True),
        (None, NINE, True),
        (None, NINE + ".5", True),
        (None, NINE + "+02:00", True),
        (None, "2025-10-03T09:00", False),
        (None, None, False),
    ],
)
def test_a_number_or_a_time_to_the_second_names_a_message(
    sequence: str | None, time: str | None, named: bool
) -> None:
    assert names_its_message(sequence, time) is named


@pytest.mark.parametrize(
    ("query", "index"),
    [
        (SAME_NUMBER, "ix_reading_instrument_sequence (instrument=? AND sequence=?"),
        (SAME_TIME, "ix_reading_instrument_time (instrument=? AND instrument_time=?"),
    ],
)
def test_a_file_finds_repeats_without_looking_through_every_reading(
    tmp_path: Path, query: object, index: str
) -> None:
    wanted = [(f"line-{place}", str(place)) for place in range(64)]
    with closing(open_at_noon(tmp_path / "cellar.db")) as store, store.reader() as connection:
        statement = query.params(wanted=wanted, before=1000)  # type: ignore[attr-defined]  # either query
        text = statement.compile(connection, compile_kwargs={"literal_binds": True})
        plan = [step.detail for step in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}")]
    assert any(index in step for step in plan), plan

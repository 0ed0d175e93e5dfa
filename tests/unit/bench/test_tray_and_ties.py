"""Whose number it is: the frame's id, else what stands on the instrument, else nobody's."""

import pytest
from sqlalchemy import select

from bench import ties, tray
from bench.refused import MalformedError, NotThereError, RefusedError
from bench.rules import RULES
from bench.tray import NewItem
from storage.queries.trays import (
    Tie,
    readings_tied_to,
    tie_history,
    tie_of,
    tray_item_by_id,
    tray_items,
)
from storage.schema import taken
from storage.store import Store
from tests.fakes.filled_store import NOON_US, SECOND_US, Answer, Filler, OpenCapture
from tests.unit.bench.acts import act, make, person, take_in

BURETTE = "burette-1"


@pytest.fixture
def filler(store: Store) -> Filler:
    make(store, "method", "free", name="free SO2", quantity="free_so2", modes=["F"])
    make(store, "method", "total", name="total SO2", quantity="total_so2", modes=["T"])
    for code in ("CK4H7M", "DM6R3X", "FN7T4C"):
        make(store, "sample", code)
    make(store, "reagent", "HC1", name="check wine", reagent_kind="control_material")
    return Filler(store)


@pytest.fixture
def burette(filler: Filler) -> OpenCapture:
    return filler.open("burette", BURETTE)


def put(store: Store, *items: NewItem) -> list[int]:
    return act(store, lambda tx: tray.put(tx, person(), BURETTE, items))


def set_on(store: Store, item: int, at_us: int = NOON_US) -> None:
    act(store, lambda tx: tray.set_on_item(tx, person(at_us=at_us), BURETTE, item, "scan"))


def hear(
    filler: Filler,
    burette: OpenCapture,
    text: str = "28.4",
    *,
    sample: str | None = None,
    mode: str | None = None,
    sequence: str | None = None,
) -> int:
    answer = Answer("free_so2", text, "mg/L", sample=sample, mode=mode, sequence=sequence)
    return filler.hear(burette, f"{text}\r\n".encode(), [answer])[0]


def tie_after_intake(store: Store, reading: int) -> Tie | None:
    take_in(store)
    with store.reader() as connection:
        return tie_of(connection, reading)


def sample_id(store: Store, code: str) -> int:
    from bench.kinds.cellar import Sample
    from bench.records import find

    with store.reader() as connection:
        return find(connection, Sample, code).record_id


def test_a_tray_keeps_the_order_in_which_it_was_filled(store: Store, filler: Filler) -> None:
    ids = put(
        store,
        NewItem("blank"),
        NewItem("check", standard="HC1"),
        NewItem("sample", "CK4H7M", tests=("free",)),
    )
    with store.reader() as connection:
        assert [item.item_id for item in tray_items(connection, BURETTE)] == ids


def test_an_item_moves_before_another_and_to_the_end(store: Store, filler: Filler) -> None:
    first, second, third = put(store, *(NewItem("sample", code) for code in ("CK4H7M", "DM6R3X", "FN7T4C")))
    act(store, lambda tx: tray.move(tx, person(), third, 1, before=first))
    act(store, lambda tx: tray.move(tx, person(), first, 1, before=None))
    with store.reader() as connection:
        assert [item.item_id for item in tray_items(connection, BURETTE)] == [third, second, first]


def test_two_people_fill_one_tray_and_the_second_to_change_an_item_is_told(
    store: Store, filler: Filler
) -> None:
    (item,) = put(store, NewItem("sample", "CK4H7M"))
    put(store, NewItem("sample", "DM6R3X"))
    act(store, lambda tx: tray.ask(tx, person("FEN"), item, 1, ["free"]))
    with pytest.raises(RefusedError, match="read the tray again") as refused:
        act(store, lambda tx: tray.remove(tx, person("MAL"), item, 1))
    assert refused.value.rule == "tray.changed_meanwhile"
    with store.reader() as connection:
        assert len(tray_items(connection, BURETTE)) == 2


@pytest.mark.parametrize(
    ("item", "rule"),
    [
        (NewItem("sample"), "tray.item_malformed"),
        (NewItem("sample", "CK4H7M", standard="HC1"), "tray.item_malformed"),
        (NewItem("blank", "CK4H7M"), "tray.item_malformed"),
        (NewItem("coffee"), "tray.item_malformed"),
        (NewItem("sample", "CK4H7X"), "record.unknown"),
        (NewItem("sample", "CK4H7M", tests=("colour",)), "record.unknown"),
    ],
)
def test_an_item_that_cannot_be_right_puts_nothing_on_the_tray(
    store: Store, filler: Filler, item: NewItem, rule: str
) -> None:
    with pytest.raises(RefusedError) as refused:
        put(store, NewItem("blank"), item)
    assert refused.value.rule == rule
    assert rule in RULES
    with store.reader() as connection:
        assert tray_items(connection, BURETTE) == []


def test_a_reading_is_tied_to_what_stands_on_the_instrument(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    (item,) = put(store, NewItem("sample", "CK4H7M", tests=("free",)))
    set_on(store, item)
    found = tie_after_intake(store, hear(filler, burette, mode="F"))
    assert found is not None
    assert (found.sample_id, found.item_id, found.how, found.conflict) == (
        sample_id(store, "CK4H7M"),
        item,
        "tray",
        None,
    )


def test_nothing_on_the_instrument_and_no_id_means_untied(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    put(store, NewItem("sample", "CK4H7M"))
    assert tie_after_intake(store, hear(filler, burette)) is None


def test_what_is_set_later_claims_no_earlier_reading(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    reading = hear(filler, burette)
    (item,) = put(store, NewItem("sample", "CK4H7M"))
    set_on(store, item, at_us=filler.at_us + SECOND_US)
    assert tie_after_intake(store, reading) is None


def test_a_cleared_instrument_ties_nothing(store: Store, filler: Filler, burette: OpenCapture) -> None:
    (item,) = put(store, NewItem("sample", "CK4H7M"))
    set_on(store, item)
    act(store, lambda tx: tray.clear(tx, person(), BURETTE, "tap"))
    assert tie_after_intake(store, hear(filler, burette)) is None


def test_the_id_in_the_frame_ties_without_a_tray(store: Store, filler: Filler, burette: OpenCapture) -> None:
    found = tie_after_intake(store, hear(filler, burette, sample="CK4H7M"))
    assert found is not None
    assert (found.sample_id, found.how) == (sample_id(store, "CK4H7M"), "frame")


def test_an_id_that_nobody_knows_ties_to_nobody_and_says_so(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    found = tie_after_intake(store, hear(filler, burette, sample="CK4H7N"))
    assert found is not None
    assert (found.sample_id, found.conflict) == (None, ties.SAMPLE_UNKNOWN)


def test_frame_and_tray_that_name_different_samples_are_a_conflict(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    (item,) = put(store, NewItem("sample", "DM6R3X"))
    set_on(store, item)
    found = tie_after_intake(store, hear(filler, burette, sample="CK4H7M"))
    assert found is not None
    assert (found.sample_id, found.conflict) == (sample_id(store, "CK4H7M"), ties.TWO_SAMPLES)


def test_total_mode_where_free_was_asked_is_a_conflict(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    (item,) = put(store, NewItem("sample", "CK4H7M", tests=("free",)))
    set_on(store, item)
    found = tie_after_intake(store, hear(filler, burette, mode="T"))
    assert found is not None
    assert found.conflict == ties.MODE_AGAINST_METHOD


def test_a_tray_off_by_one_is_put_right_as_one_reasoned_act(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    readings = [hear(filler, burette, sample=code) for code in ("CK4H7M", "DM6R3X")]
    take_in(store)
    who = person("YAR", reason="the tray was off by one")
    act(store, lambda tx: ties.reassign(tx, who, {readings[0]: "DM6R3X", readings[1]: "FN7T4C"}))
    with store.reader() as connection:
        history = tie_history(connection, readings[0])
        assert readings_tied_to(connection, sample_id(store, "DM6R3X")) == [readings[0]]
        assert readings_tied_to(connection, sample_id(store, "CK4H7M")) == []
    assert [(one.tie.how, one.actor, one.reason) for one in history] == [
        ("frame", "tundish", None),
        ("swap", "YAR", "the tray was off by one"),
    ]


def test_two_readings_swap_what_they_are_tied_to(store: Store, filler: Filler, burette: OpenCapture) -> None:
    one, other = (hear(filler, burette, sample=code) for code in ("CK4H7M", "DM6R3X"))
    take_in(store)
    act(store, lambda tx: ties.swap(tx, person(reason="beakers exchanged"), one, other))
    with store.reader() as connection:
        assert readings_tied_to(connection, sample_id(store, "CK4H7M")) == [other]
        assert readings_tied_to(connection, sample_id(store, "DM6R3X")) == [one]


def test_taking_a_reading_off_its_sample_wants_a_reason(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    reading = hear(filler, burette, sample="CK4H7M")
    take_in(store)
    with pytest.raises(MalformedError) as refused:
        act(store, lambda tx: ties.untie(tx, person(), [reading]))
    assert refused.value.rule == "act.reason_wanted"
    act(store, lambda tx: ties.untie(tx, person(reason="wrong label"), [reading]))
    with store.reader() as connection:
        found = tie_of(connection, reading)
    assert found is not None
    assert found.sample_id is None


def test_a_reading_that_is_not_there_cannot_be_tied(store: Store, filler: Filler) -> None:
    with pytest.raises(NotThereError) as refused:
        act(store, lambda tx: ties.tie(tx, person(), [999_999], "CK4H7M"))
    assert refused.value.rule == "reading.unknown"


def test_a_message_sent_again_is_counted_once(store: Store, filler: Filler, burette: OpenCapture) -> None:
    first = hear(filler, burette, sample="CK4H7M", sequence="17")
    take_in(store)
    again = [hear(filler, burette, sample="CK4H7M", sequence="17") for _ in range(3)]
    take_in(store)
    with store.reader() as connection:
        rows = connection.execute(select(taken.c.reading_number, taken.c.repeat_of)).all()
        assert {tuple(row) for row in rows} == {(first, None), *((one, first) for one in again)}
        assert readings_tied_to(connection, sample_id(store, "CK4H7M")) == [first]


def test_a_dump_within_one_batch_is_counted_once_too(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    first, again = (hear(filler, burette, sequence="17") for _ in range(2))
    take_in(store)
    with store.reader() as connection:
        rows = {
            row.reading_number: row.repeat_of
            for row in connection.execute(select(taken.c.reading_number, taken.c.repeat_of))
        }
    assert rows == {first: None, again: first}


def test_equal_replicates_with_their_own_numbers_stay_two(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    for sequence in ("17", "18", None, None):
        hear(filler, burette, sequence=sequence)
    take_in(store)
    with store.reader() as connection:
        assert set(connection.execute(select(taken.c.repeat_of)).scalars()) == {None}


def test_the_same_number_after_a_reset_counter_is_a_new_message(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    hear(filler, burette, "28.4", sequence="1")
    hear(filler, burette, "30.1", sequence="1")
    take_in(store)
    with store.reader() as connection:
        assert set(connection.execute(select(taken.c.repeat_of)).scalars()) == {None}


def test_an_item_taken_off_its_tray_cannot_be_set_on_the_instrument(store: Store, filler: Filler) -> None:
    (item,) = put(store, NewItem("sample", "CK4H7M"))
    act(store, lambda tx: tray.remove(tx, person(), item, 1))
    with pytest.raises(NotThereError):
        set_on(store, item)
    with store.reader() as connection:
        found = tray_item_by_id(connection, item)
    assert found is not None
    assert found.state == "removed"


def state_of(store: Store, item: int) -> str:
    with store.reader() as connection:
        found = tray_item_by_id(connection, item)
    assert found is not None
    return found.state


def test_a_place_is_measured_once_every_test_asked_has_its_result(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    (item,) = put(store, NewItem("sample", "CK4H7M", tests=("free", "total")))
    set_on(store, item)
    hear(filler, burette, mode="F")
    take_in(store)
    assert state_of(store, item) == "waiting"
    filler.hear(burette, b"98.0\r\n", [Answer("total_so2", "98.0", "mg/L", mode="T")])
    take_in(store)
    assert state_of(store, item) == "measured"


def test_an_unattended_sequence_takes_its_places_by_the_ids_in_the_frames(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    first, duplicate, other = put(
        store,
        NewItem("sample", "CK4H7M", tests=("free",)),
        NewItem("duplicate", "CK4H7M", tests=("free",)),
        NewItem("sample", "DM6R3X", tests=("free",)),
    )
    for code, item in (("CK4H7M", first), ("CK4H7M", duplicate), ("DM6R3X", other)):
        tied = tie_after_intake(store, hear(filler, burette, sample=code, mode="F"))
        assert tied is not None
        assert (tied.item_id, tied.how) == (item, "frame")
        assert state_of(store, item) == "measured"


def test_an_id_in_the_frame_with_a_mode_that_was_not_asked_is_a_conflict(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    put(store, NewItem("sample", "CK4H7M", tests=("free",)))
    tied = tie_after_intake(store, hear(filler, burette, sample="CK4H7M", mode="T"))
    assert tied is not None
    assert tied.conflict == ties.MODE_AGAINST_METHOD

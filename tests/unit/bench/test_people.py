"""Pins: short, slow to try, locked after wrong ones, never kept as they are."""

import pytest
from sqlalchemy import select

from bench import people
from bench.refused import ForbiddenError, MalformedError
from storage.schema import pin
from storage.store import Store
from tests.fakes.filled_store import NOON_US
from tests.unit.bench.acts import act, make, person


@pytest.fixture
def mallow(store: Store) -> str:
    make(store, "person", "MAL", name="Mallow")
    prepared = people.prepare_pin("4711")
    act(store, lambda tx: people.set_pin(tx, person("YAR"), "MAL", prepared))
    return "MAL"


def held(store: Store, initials: str, at_us: int = NOON_US) -> people.HeldPin:
    with store.reader() as connection:
        return people.held_pin(connection, initials, at_us)


def test_the_right_pin_matches_and_a_wrong_one_does_not(store: Store, mallow: str) -> None:
    assert people.matches(held(store, mallow), "4711")
    assert not people.matches(held(store, mallow), "4712")


def test_the_pin_itself_is_nowhere_in_the_store(store: Store, mallow: str) -> None:
    with store.reader() as connection:
        row = connection.execute(select(pin)).one()
    assert not any("4711" in str(value) for value in row)


def test_five_wrong_pins_in_a_row_lock_it_for_five_minutes(store: Store, mallow: str) -> None:
    person_id = held(store, mallow).person.record_id
    left = [act(store, lambda tx: people.note_wrong_pin(tx, person_id, NOON_US)) for _ in range(5)]
    assert left == [4, 3, 2, 1, 0]
    with pytest.raises(ForbiddenError, match="5 min") as refused:
        held(store, mallow)
    assert refused.value.rule == "pin.locked"
    assert people.matches(held(store, mallow, NOON_US + people.LOCKED_FOR_US), "4711")


def test_the_right_pin_forgets_the_wrong_ones(store: Store, mallow: str) -> None:
    person_id = held(store, mallow).person.record_id
    act(store, lambda tx: people.note_wrong_pin(tx, person_id, NOON_US))
    act(store, lambda tx: people.note_right_pin(tx, person_id))
    assert held(store, mallow).failures == 0


def test_a_new_pin_ends_the_old_one(store: Store, mallow: str) -> None:
    prepared = people.prepare_pin("9034")
    act(store, lambda tx: people.set_pin(tx, person("YAR"), mallow, prepared))
    assert not people.matches(held(store, mallow), "4711")
    assert people.matches(held(store, mallow), "9034")


@pytest.mark.parametrize("digits", ["", "471", "471147114", "47a1", "4 11", "1111", "٤٧١١"])
def test_what_is_no_pin_is_refused(digits: str) -> None:
    with pytest.raises(MalformedError):
        people.prepare_pin(digits)


def test_somebody_without_a_pin_is_told_who_sets_it(store: Store) -> None:
    make(store, "person", "FEN")
    with pytest.raises(ForbiddenError, match="manager") as refused:
        held(store, "FEN")
    assert refused.value.rule == "pin.unset"

"""What is due to be published: each version of each reading and result, once, in the order of the ledger."""

from functools import partial

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from storage.queries.publishing import (
    Due,
    Place,
    RefusedRecord,
    count_due,
    count_refused,
    due_after,
    entered_at_us,
    made_good,
    note_place,
    outbox,
    published_up_to,
    refused,
    set_aside,
)
from storage.schema import reading
from storage.store import Store

EVERYTHING = 10_000


def all_due(store: Store, window: int) -> list[Due]:
    """Return what is due, read in windows, each from the end of the one before."""
    found: list[Due] = []
    with store.reader() as connection:
        while more := due_after(connection, found[-1].number if found else 0, window):
            found += more
    return found


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(window=st.integers(1, 60))
def test_windows_of_any_size_give_everything_once_and_in_order(full: Store, window: int) -> None:
    found = all_due(full, window)
    assert found == sorted(set(found))
    assert found == all_due(full, EVERYTHING)


def test_every_version_of_a_reading_and_every_change_of_a_result_is_due(full: Store) -> None:
    found = all_due(full, EVERYTHING)
    with full.reader() as connection:
        numbers = list(connection.execute(reading.select().with_only_columns(reading.c.number)).scalars())
        assert count_due(connection, 0, EVERYTHING) == len(found)
        assert count_due(connection, 0, 3) == 3
        assert count_due(connection, found[-1].number, EVERYTHING) == 0
    assert [one.number for one in found if one.kind == "reading"] == sorted(numbers)
    assert [one for one in found if one.kind == "result"]


def test_how_far_publishing_came_is_kept(store: Store) -> None:
    store.writer.submit(lambda tx: note_place(tx, Place(41, 7))).result(10)
    with store.reader() as connection:
        assert published_up_to(connection) == Place(41, 7)


@pytest.fixture
def record() -> RefusedRecord:
    return RefusedRecord(7, Due(41, "reading", 41), "winery/north/v1/reading/ph", "not authorized", 5, 1)


def test_what_was_refused_stays_until_it_is_made_good(store: Store, record: RefusedRecord) -> None:
    again = RefusedRecord(7, record.due, record.topic, "quota exceeded", 5, 2)
    later = RefusedRecord(9, Due(44, "result", 30), "winery/north/v1/result/ph", "not authorized", 6, 1)
    for one in (record, later, again):
        store.writer.submit(partial(set_aside, record=one)).result(10)
    with store.reader() as connection:
        assert refused(connection, 10) == [again, later]
        assert refused(connection, 10, after=7) == [later]
    store.writer.submit(lambda tx: made_good(tx, 7)).result(10)
    with store.reader() as connection:
        assert refused(connection, 1) == [later]
        assert count_refused(connection) == 1


def test_the_outbox_says_how_much_waits_since_when_and_what_was_refused(
    full: Store, record: RefusedRecord
) -> None:
    found = all_due(full, EVERYTHING)
    full.writer.submit(lambda tx: note_place(tx, Place(found[2].number, 3))).result(10)
    full.writer.submit(partial(set_aside, record=record)).result(10)
    with full.reader() as connection:
        said = outbox(connection)
        assert said.oldest_us == entered_at_us(connection, found[3].number)
    assert (said.waiting, said.refused, said.first_refused) == (len(found) - 3, 1, (record,))


def test_an_outbox_without_anything_in_it_has_no_age(store: Store) -> None:
    with store.reader() as connection:
        assert (outbox(connection).waiting, outbox(connection).oldest_us) == (0, None)

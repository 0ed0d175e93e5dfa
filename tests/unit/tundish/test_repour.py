"""Stored captures through a corrected driver: just what it reads otherwise changes, and nothing is lost."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import count, pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.driver import DriverFactory
from acquire.sink import Ending
from bench.poured import Kind
from bench.pouring import Pour
from bench.refused import MalformedError
from bench.repour import captures
from storage.queries import (
    PourScope,
    ReadingFilter,
    ReadingRecord,
    capture_counts,
    captures_before,
    frame_at,
    frame_bytes,
    frames_from,
    head,
    ledger_after,
    pours_before,
    reading_versions,
    readings_after,
)
from storage.store import Store
from storage.verify import verify
from tests.fakes.heard_captures import AT_US, EVERYTHING, MALLOW, hear, pour, so2_rows, supposed, view
from tundish.store_sink import driver_row
from tundish.stored_decoder import StoredDecoder

ROWS = [b"W-1;28.50;20.1\n", b"W-2;31.00;20.2\n", b"?;;\n", b"W-3;11.25;20.3\n"]
WRONG, RIGHT = so2_rows(unit="g/L"), so2_rows()

LAW = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
lines = (f"line-{number}" for number in count())


def head_of(store: Store) -> int:
    with store.reader() as connection:
        return head(connection)


def values(store: Store) -> list[tuple[str, str, str]]:
    return [(row["quantity"], row["value_text"], row["unit"]) for row in view(store)]


async def test_what_would_change_is_told_and_nothing_is_written(store: Store) -> None:
    await hear(store, WRONG, ROWS)
    before = head_of(store), view(store)
    (found,), changes = supposed(store, RIGHT)
    assert (found.changed, found.added, found.withdrawn, found.reshaped) == (3, 0, 0, False)
    assert [(one.before and one.before.unit, one.after and one.after.unit) for one in changes] == [
        ("g/L", "mg/L")
    ] * 3
    assert (head_of(store), view(store)) == before


async def test_only_the_field_that_was_put_right_changes(store: Store) -> None:
    await hear(store, WRONG, ROWS)
    before = view(store)
    pour(store, RIGHT)
    after = view(store)
    for old, new in zip(before, after, strict=True):
        if old["quantity"] == "free_so2":
            assert (old["unit"], new["unit"]) == ("g/L", "mg/L")
            assert {**old, "unit": "mg/L"} == new
        else:
            assert old == new


async def test_the_old_version_stays_readable_with_who_when_and_why_of_the_new(store: Store) -> None:
    await hear(store, WRONG, ROWS)
    pour(store, RIGHT)
    with store.reader() as connection:
        first = readings_after(connection, ReadingFilter(), after=0, up_to=2**62, limit=1)[0]
        changed = [one for one in _all(store) if one.version == 2]
        versions = reading_versions(connection, changed[0].reading_id)
        entry = ledger_after(connection, after=versions[1].number - 1, limit=1)[0]
        (told,) = pours_before(connection, before=None, limit=10)
        assert verify(connection).in_order
    assert first.version == 1
    assert [(one.version, one.unit) for one in versions] == [(1, "g/L"), (2, "mg/L")]
    assert versions[0].driver_number != versions[1].driver_number
    assert (entry.action, entry.actor, entry.reason) == ("reading.changed", "MAL", "the unit was wrong")
    assert (told.actor, told.captures, told.changed) == ("MAL", 1, 3)


def _all(store: Store) -> Sequence[ReadingRecord]:
    with store.reader() as connection:
        return readings_after(connection, ReadingFilter(), after=0, up_to=2**62, limit=1000)


async def test_the_driver_that_heard_changes_nothing(store: Store) -> None:
    await hear(store, RIGHT, [b"W-1;28", b".50;20.1\nW-", b"2;3"])
    before = head_of(store)
    pour(store, RIGHT)
    assert head_of(store) == before


async def test_pouring_needs_a_reason(store: Store) -> None:
    with pytest.raises(MalformedError):
        Pour(
            store.reader,
            store.writer,
            driver_row(RIGHT.identity),
            replace(MALLOW, reason=None),
            EVERYTHING,
            pause=lambda: None,
        )


async def test_rows_that_were_refused_become_readings_of_the_time_they_came(store: Store) -> None:
    await hear(store, so2_rows(columns=2), ROWS)
    assert view(store) == []
    (found,) = pour(store, RIGHT)
    assert (found.changed, found.added, found.reshaped) == (0, 6, True)
    assert [row["value_text"] for row in view(store)] == ["28.50", "20.1", "31.00", "20.2", "11.25", "20.3"]
    assert [later["at_us"] - first["at_us"] for first, later in pairwise(view(store)[::2])] == [
        100_000,
        200_000,
    ]


async def test_readings_that_no_frame_holds_any_more_are_taken_back_but_stay_in_the_store(
    store: Store,
) -> None:
    await hear(store, RIGHT, ROWS)
    (found,) = pour(store, so2_rows(columns=2))
    assert found.withdrawn == 6
    assert view(store) == []
    with store.reader() as connection:
        told = readings_after(connection, ReadingFilter(with_withdrawn=True), after=0, up_to=2**62, limit=100)
        assert {(one.outcome, one.value) for one in told} == {("withdrawn", None)}
        assert reading_versions(connection, told[0].reading_id)[0].value_text == "28.50"


async def test_frames_are_shown_as_the_corrected_driver_cuts_them_and_every_byte_lies_in_one(
    store: Store,
) -> None:
    await hear(store, so2_rows(end=r"\n"), [b"W-1;28.50;20.1\r\n", b"W-2;31.00;20.2\r\n"])
    pour(store, so2_rows(end=r"\r\n"))
    with store.reader() as connection:
        (capture,) = captures_before(connection, before=None, limit=1)
        frames = frames_from(connection, capture.number, offset=0, limit=100)
        counts = capture_counts(connection, capture.number)
        assert [frame_bytes(connection, one) for one in frames] == [
            b"W-1;28.50;20.1\r\n",
            b"W-2;31.00;20.2\r\n",
        ]
        reading = readings_after(connection, ReadingFilter(), after=0, up_to=2**62, limit=1)[0]
        frame = frame_at(connection, reading.frame_number, reading.frame_ordinal)
    assert frame is not None
    assert sum(one.length for one in frames) == counts.heard_bytes == 32
    assert (counts.frames_read, counts.frames_refused, counts.readings) == (2, 0, 4)


async def test_a_capture_that_still_grows_is_not_cut_anew(store: Store) -> None:
    await hear(store, so2_rows(columns=2), ROWS, ending=None)
    before = head_of(store)
    (found,) = pour(store, RIGHT)
    assert found.must_wait
    assert head_of(store) == before


async def test_readings_of_a_capture_that_still_grows_can_be_put_right(store: Store) -> None:
    await hear(store, WRONG, [*ROWS, b"W-9;1"], ending=None)
    (found,) = pour(store, RIGHT)
    assert (found.changed, found.must_wait) == (3, False)
    assert {row["unit"] for row in view(store)} == {"mg/L", "°C"}


async def test_only_captures_of_the_scope_are_poured(store: Store) -> None:
    await hear(store, WRONG, ROWS, line="a")
    await hear(store, WRONG, ROWS, line="b")
    pour(store, RIGHT, PourScope(line="b"))
    assert {row["unit"] for row in view(store, "a")} == {"g/L", "°C"}
    assert {row["unit"] for row in view(store, "b")} == {"mg/L", "°C"}
    assert len(pour(store, RIGHT, PourScope(driver="another"))) == 0
    assert len(pour(store, RIGHT, PourScope(from_us=AT_US + 10**12))) == 0
    assert len(pour(store, RIGHT, PourScope(to_us=1))) == 0


async def test_a_pour_that_was_stopped_half_way_goes_on_where_it_stopped(store: Store) -> None:
    await hear(store, WRONG, [b"W-1;28.50;20.1\n"] * 500)

    class StoppedError(Exception):
        pass

    pauses = count()

    def stop_at_the_third() -> None:
        if next(pauses) == 2:
            raise StoppedError

    half = Pour(
        store.reader, store.writer, driver_row(RIGHT.identity), MALLOW, EVERYTHING, pause=stop_at_the_third
    )
    (capture,) = captures(store.reader, EVERYTHING)
    with pytest.raises(StoppedError):
        half.apply(capture, lambda: StoredDecoder(RIGHT))
    (rest,), _ = supposed(store, RIGHT)
    assert 0 < rest.changed < 500
    (found,) = pour(store, RIGHT)
    assert found.changed == rest.changed
    assert {row["unit"] for row in view(store)} == {"mg/L", "°C"}
    with store.reader() as connection:
        assert verify(connection).in_order


DRIVERS: tuple[DriverFactory, ...] = (
    RIGHT,
    WRONG,
    so2_rows(so2="total_so2"),
    so2_rows(columns=2),
    so2_rows(end=r"\r\n"),
)
streams = st.lists(
    st.sampled_from([*ROWS, b"W-4;1.00\n", b"W-5;28.50;20.1\r\n", b"\xff\x00", b"W-6;2"]), max_size=12
).map(b"".join)


def cut(stream: bytes, places: Sequence[int]) -> list[bytes]:
    ends = sorted({0, len(stream), *(place for place in places if place < len(stream))})
    return [stream[begin:end] for begin, end in pairwise(ends)]


@given(
    streams,
    st.lists(st.integers(1, 150), max_size=8),
    st.lists(st.sampled_from(DRIVERS), min_size=1, max_size=3),
    st.sampled_from([Ending.STOPPED, Ending.LOST, Ending.COMPLETE]),
)
@LAW
async def test_pouring_through_any_drivers_and_back_shows_what_was_there_and_twice_changes_nothing(
    store: Store, stream: bytes, places: list[int], drivers: list[DriverFactory], ending: Ending
) -> None:
    line = next(lines)
    scope = PourScope(line=line)
    await hear(store, RIGHT, cut(stream, places), line=line, ending=ending)
    before = view(store, line)
    for driver in drivers:
        found, changes = supposed(store, driver, scope)
        tally = [sum(one.kind is kind for one in changes) for kind in Kind]
        applied = pour(store, driver, scope)
        assert applied == found
        assert [sum(one.changed for one in applied), *tally[1:]] == tally
        place = head_of(store)
        pour(store, driver, scope)
        assert head_of(store) == place
        directly = next(lines)
        await hear(store, driver, cut(stream, places), line=directly, ending=ending)
        assert _said(store, line) == _said(store, directly)
    pour(store, RIGHT, scope)
    assert view(store, line) == before


def _said(store: Store, line: str) -> list[tuple[object, ...]]:
    """What is read on a line and when, wherever it is kept."""
    keys = ("at_us", "quantity", "outcome", "value_text", "value_numeral", "unit", "sample")
    return sorted(tuple(row[key] for key in keys) for row in view(store, line))

"""Clocks of instruments: their offset is told, and only what no right clock does is a fault."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.instrument_clocks import SOURCE, offset_s
from storage.queries import faults_before
from storage.store import Store
from tests.fakes.filled_store import NOON_US, SECOND_US, Answer, Filler
from tests.unit.bench.acts import take_in

NOON = datetime(2025, 10, 3, 12, tzinfo=UTC)
MINUTE_US = 60 * SECOND_US


@pytest.mark.parametrize(
    ("said", "offset"),
    [
        ("2025-10-03T12:00:00", 0.0),
        ("2025-10-03T14:00:05", 7205.0),
        ("2025-10-03T14:00:05+02:00", 5.0),
        ("2025-10-03T12:00", 0.0),
        ("2025-10-03", None),
        ("12:00:00", None),
        ("T12", None),
        ("yesterday", None),
        ("", None),
        (None, None),
    ],
)
def test_the_offset_of_a_clock_is_what_it_says_less_what_the_host_says(
    said: str | None, offset: float | None
) -> None:
    assert offset_s(said, NOON_US) == offset


@given(st.integers(-3_000_000, 3_000_000), st.integers(-14 * 60, 14 * 60))
def test_a_zone_that_is_sent_is_no_offset(seconds: int, zone_minutes: int) -> None:
    moment = (NOON + timedelta(seconds=seconds)).replace(tzinfo=None)
    with_zone = f"{(moment + timedelta(minutes=zone_minutes)).isoformat()}{_zone(zone_minutes)}"
    assert offset_s(with_zone, NOON_US) == pytest.approx(seconds)


def _zone(minutes: int) -> str:
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


class Burette:
    """A burette that says what time it is."""

    def __init__(self, store: Store) -> None:
        self._filler = Filler(store)
        self._capture = self._filler.open("bur", "bur-1")

    def says(self, time: str, after_us: int, sequence: str | None = None) -> None:
        self._filler.at_us += after_us
        answer = Answer("free_so2", "28.5", "mg/L", sequence=sequence, instrument_time=time)
        self._filler.hear(self._capture, time.encode(), [answer])


def faults(store: Store) -> list[str]:
    take_in(store)
    with store.reader() as connection:
        found = faults_before(connection, before=None, limit=100)
    assert {one.source for one in found} <= {SOURCE}
    return [one.text for one in found][::-1]


def test_a_clock_in_another_zone_that_drifts_is_no_fault(store: Store) -> None:
    burette = Burette(store)
    for minute, said in enumerate(("14:00:00", "14:10:10", "14:20:20", "14:30:30")):
        burette.says(f"2025-10-03T{said}", 10 * MINUTE_US if minute else 0)
    assert faults(store) == []


def test_a_clock_that_was_reset_is_told_once_with_what_it_said(store: Store) -> None:
    burette = Burette(store)
    for said in ("2025-10-03T12:00:00", "2000-01-01T00:00:00", "2000-01-01T00:10:00"):
        burette.says(said, 10 * MINUTE_US)
    (text,) = faults(store)
    assert "bur-1: its clock went back from 2025-10-03T12:00:00 to 2000-01-01T00:00:00" in text


def test_it_is_found_across_batches_too(store: Store) -> None:
    burette = Burette(store)
    burette.says("2025-10-03T12:00:00", 0)
    assert faults(store) == []
    burette.says("2025-10-03T11:00:00", 10 * MINUTE_US)
    assert len(faults(store)) == 1


def test_a_clock_further_ahead_than_any_zone_is_told_once(store: Store) -> None:
    burette = Burette(store)
    for said in ("2026-10-03T12:00:00", "2026-10-03T12:10:00"):
        burette.says(said, 10 * MINUTE_US)
    (text,) = faults(store)
    assert "ahead of UTC; set it right" in text


def test_rows_of_one_batch_may_stand_in_any_order(store: Store) -> None:
    burette = Burette(store)
    for said in ("2025-10-03T12:00:00", "2025-10-03T09:00:00", "2025-10-03T11:00:00"):
        burette.says(said, 0)
    assert faults(store) == []


def test_a_message_sent_again_from_memory_is_no_clock_that_went_back(store: Store) -> None:
    burette = Burette(store)
    burette.says("2025-10-03T09:00:00", 0, "1")
    burette.says("2025-10-03T12:00:00", 10 * MINUTE_US, "2")
    burette.says("2025-10-03T09:00:00", 10 * MINUTE_US, "1")
    assert faults(store) == []

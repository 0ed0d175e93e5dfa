"""The writers of text agree to the byte, in every dialect and zone, whoever writes: a database or we."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import literal_column, select

from storage.csv_text import DIALECTS, Kind, UnknownZoneError, changes_of, plain_text, readings_sheet
from storage.csv_text.dialects import Column
from storage.csv_text.zones import in_zone
from storage.queries import ReadingFilter
from storage.schema import reading
from storage.store import Store
from tests.fakes.filled_store import Answer, Filler

LAST_US = 4_102_444_800_000_000  # 2100-01-01
ZONES = (
    "Europe/Berlin",
    "America/New_York",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "Africa/Monrovia",
    "UTC",
)
QUIET = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
Hear = Callable[..., object]
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1, max_size=12)


@pytest.fixture
def hear(store: Store) -> Hear:
    """Enter readings."""
    filler = Filler(store)
    capture = filler.open("stand", "stand-1")
    return lambda *answers: filler.hear(capture, b"F;\r\n", answers)


def both(store: Store, dialect: str, zone: str | None, *, guarded: bool = True) -> tuple[bytes, bytes]:
    """Return a sheet as the database writes it and as we do."""
    up_to = store.writer.head.number
    sheet = readings_sheet(store.reader, ReadingFilter(), store_kind="real", after=0, up_to=up_to)
    how = replace(DIALECTS[dialect], guarded=guarded)
    return b"".join(sheet.text(how, zone)), b"".join(replace(sheet, faster=None).text(how, zone))


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize("zone", [None, *ZONES])
@pytest.mark.parametrize("guarded", [True, False])
def test_the_filled_store_reads_the_same(full: Store, dialect: str, zone: str | None, guarded: bool) -> None:
    written, ours = both(full, dialect, zone, guarded=guarded)
    assert written == ours


@QUIET
@given(samples=st.lists(TEXTS, min_size=1, max_size=5), dialect=st.sampled_from(list(DIALECTS)))
@example(samples=["=1+1", "-", "+", "-0.50", "-1a", "@x", "\t=", "\r", '"'], dialect="standard")
@example(samples=["a,b", "a;b", "\n", "\r\n", " =1", "ünïcode"], dialect="sheet-eu")
def test_any_text_reads_the_same(store: Store, hear: Hear, samples: list[str], dialect: str) -> None:
    hear(*(Answer("ph", "3.410", "pH", sample=sample) for sample in samples))
    written, ours = both(store, dialect, None)
    assert written == ours


@QUIET
@given(at_us=st.integers(0, LAST_US), zone=st.sampled_from(ZONES))
def test_the_offset_of_a_zone_is_that_of_its_rules(at_us: int, zone: str) -> None:
    offset = datetime.fromtimestamp(at_us // 1_000_000, UTC).astimezone(ZoneInfo(zone)).utcoffset()
    assert offset is not None
    assert changes_of(zone).minutes_at(at_us) == offset.total_seconds() // 60


@pytest.mark.parametrize(
    ("zone", "moment", "minutes"),
    [
        # The clocks of Central Europe change at 01:00 UTC; those of Lord Howe by half an hour.
        ("Europe/Berlin", "2025-10-26T00:59:59+00:00", 120),
        ("Europe/Berlin", "2025-10-26T01:00:00+00:00", 60),
        ("Europe/Berlin", "2026-03-29T01:00:00+00:00", 120),
        ("Australia/Lord_Howe", "2025-10-04T15:29:59+00:00", 630),
        ("Australia/Lord_Howe", "2025-10-04T15:30:00+00:00", 660),
    ],
)
def test_clocks_change_at_the_second(zone: str, moment: str, minutes: int) -> None:
    at_us = int(datetime.fromisoformat(moment).timestamp()) * 1_000_000
    assert changes_of(zone).minutes_at(at_us) == minutes


@pytest.mark.parametrize("zone", ["Mars/Base", "", "../x", "/etc/localtime"])
def test_a_zone_that_there_is_not_is_an_error(zone: str) -> None:
    with pytest.raises(UnknownZoneError, match="give one like Europe/Berlin"):
        changes_of(zone)


@pytest.mark.parametrize("zone", ZONES)
def test_databases_find_the_same_offset_at_every_change(store: Store, zone: str) -> None:
    changes = changes_of(zone)
    moments = [at_s * 1_000_000 + step for at_s in changes.at_s[-40:] for step in (-1, 0)] or [0]
    with store.reader() as connection:
        server = connection.dialect.name == "postgresql"
        shown = in_zone([Column("at_utc", Kind.MOMENT, reading.c.at_us)], zone, server=server)
        minutes = str(shown[1].source).replace("reading.at_us", "moments.at")
        for at_us in moments:
            at: Any = select(literal_column(str(at_us)).label("at"))
            if server:
                at = select(literal_column(f"to_timestamp({at_us / 1e6:.6f})").label("at"))
            found: Any = connection.execute(
                select(literal_column(minutes)).select_from(at.subquery("moments"))
            )
            assert found.scalar_one() == changes.minutes_at(at_us), at_us


def test_times_of_a_whole_sheet_are_written_by_their_own_offset() -> None:
    rows = [(1, 1_761_438_600_000_000), (2, 1_761_442_200_123_456), (3, None)]
    kinds = [Kind.INTEGER, Kind.MOMENT]
    text = plain_text(rows, kinds, DIALECTS["standard"], changes_of("Europe/Berlin"))
    assert text.decode().split("\r\n") == [
        "1,2025-10-26T02:30:00.000000+02:00,120",
        "2,2025-10-26T02:30:00.123456+01:00,60",
        "3,,",
        "",
    ]

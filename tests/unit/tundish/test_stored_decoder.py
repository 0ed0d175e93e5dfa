"""What was heard live and what is poured later is the same, whatever ends a frame and whoever asks first."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.driver import DriverFactory
from acquire.drivers.data_only import factory_from_text
from acquire.events import Instant
from acquire.registry import DriverRegistry
from bench.poured import PouredFrame
from storage.queries import ChunkRecord, DriverRecord, drivers, head
from storage.store import Store
from tests.fakes.heard_captures import AT_US, EVERYTHING, hear, pour, so2_rows, supposed, view
from tests.fakes.lis import ENQ, EOT, OPTIONS, frame, message, result
from tundish.driver_choice import of_record
from tundish.errors import NotTheSameDriverError
from tundish.pours import supposed as supposed_report
from tundish.stored_decoder import StoredDecoder


def silent() -> DriverFactory:
    """Return a driver whose frames end with silence alone."""
    text = """
name = "silent"
version = "1"
[framing]
silence_ms = 150
distrust_first = false
[delimited]
separator = ";"
[[delimited.records]]
columns = [{ kind = "sample" }, { kind = "value", quantity = "ph", unit = "pH" }]
[[examples]]
raw = 'W-1;3.40'
expect = [{ quantity = "ph", value = "3.40" }]
"""
    return factory_from_text(text, "silent")


@given(st.lists(st.sampled_from([b"W-1;3.40", b"W-2;", b"3.5", b"?", b""]), max_size=8))
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
async def test_frames_that_silence_ends_are_the_same_when_poured(store: Store, pieces: list[bytes]) -> None:
    waits = [piece for each in pieces for piece in (each, b"")]
    await hear(store, silent(), [piece for piece in waits if piece or waits])
    with store.reader() as connection:
        before = head(connection)
    found, _ = supposed(store, silent())
    assert all(one.is_same for one in found)
    pour(store, silent())
    with store.reader() as connection:
        assert head(connection) == before


async def test_a_conversation_is_the_same_when_poured(store: Store) -> None:
    lis = DriverRegistry().factory("lis01", OPTIONS)
    frames = [frame(number % 8, text) for number, text in enumerate(message(result()), 1)]
    await hear(store, lis, [ENQ, *frames, EOT], may_send=True)
    assert [row["value_text"] for row in view(store)] == ["28.5"]
    found, changes = supposed(store, lis)
    assert [one.is_same for one in found] == [True]
    assert changes == []


def chunk(number: int, at_us: int, data: bytes) -> ChunkRecord:
    return ChunkRecord(number, at_us, "heard", 0, data)


def test_a_host_clock_that_went_back_does_not_run_a_driver_backwards() -> None:
    decoder = StoredDecoder(silent())
    frames: list[PouredFrame] = []
    for number, at_us in enumerate((AT_US, AT_US - 3_600_000_000, AT_US + 1_000_000), 1):
        frames += decoder.feed([chunk(number, at_us, b"W-1;3.40")])
    frames += decoder.finish(AT_US + 2_000_000)
    assert sum(one.length for one in frames) == 24
    assert frames[-1].outcome == "read"


async def test_a_driver_of_the_store_is_had_again_just_as_it_was(store: Store) -> None:
    lis = DriverRegistry().factory("lis01", OPTIONS)
    await hear(store, lis, [ENQ])
    await hear(store, so2_rows(), [b"W-1;28.50;20.1\n"])
    with store.reader() as connection:
        records = drivers(connection)
    found = [of_record(record, DriverRegistry()).identity for record in records]
    assert found == [lis.identity, so2_rows().identity]


def test_a_driver_of_code_that_is_another_now_is_refused_by_name() -> None:
    record = DriverRecord(7, "lis01", "0.0.1", "ab" * 32, f"tundish==0.0.1\n{json.dumps(OPTIONS)}\n")
    with pytest.raises(NotTheSameDriverError, match=r"driver 7 is lis01 of tundish==0\.0\.1"):
        of_record(record, DriverRegistry())


def test_the_moment_of_a_frame_is_that_of_the_chunk_which_completed_it() -> None:
    decoder = StoredDecoder(so2_rows())
    frames = decoder.feed([chunk(1, AT_US, b"W-1;28"), chunk(2, AT_US + 7, b".50;20.1\n")])
    assert [one.at_us for one in frames] == [Instant(AT_US + 7, 0).utc_us]


async def test_what_a_stopped_line_refused_stays_refused_when_poured_unless_it_is_asked_for(
    store: Store,
) -> None:
    strangers = [b"pH 3,41\n"] * 20
    await hear(store, so2_rows(), [*strangers, *[b"W-1;28.50;20.1\n"] * 5], gated=True)
    assert len(view(store)) == 4
    report = supposed_report(store.reader, so2_rows(), EVERYTHING)
    assert report.captures == ()
    report = supposed_report(store.reader, so2_rows(), EVERYTHING, takes_refused=True)
    assert [(one.added, one.reshaped) for one in report.captures] == [(6, True)]

"""A pour says of every byte what became of it."""

import json
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.events import CurvePoint, FrameRead, Instant, Outcome, Reading, RunEnded, Span
from acquire.pour import JsonObject, pour, pour_file
from acquire.registry import DriverRegistry
from tests.fakes.driver import AT, FakeFactory, LineDriver, ScriptedDriver

BURETTE = DriverRegistry([]).factory("so2-burette")
RESULT = b"R|0042|2025-10-06 08:41:07|F|W-1007|2.31|mL|29.6|mg/L|*53\r\n"


def poured(*chunks: bytes) -> list[JsonObject]:
    return list(pour(BURETTE, [(chunk, AT) for chunk in chunks]))


def test_a_frame_becomes_an_object_with_every_field_of_its_readings() -> None:
    frame, _ = poured(RESULT)
    assert (frame["kind"], frame["offset"], frame["length"]) == ("frame_read", 0, len(RESULT))
    assert json.loads(json.dumps(frame))["readings"][1] == {
        "quantity": "free_so2",
        "outcome": "value",
        "text": "29.6",
        "value": "29.6",
        "unit": "mg/L",
        "sample": "W-1007",
        "sequence": "0042",
        "instrument_time": "2025-10-06T08:41:07",
        "mode": "F",
        "stable": None,
    }


def test_what_a_message_says_beside_its_readings_is_told_too() -> None:
    volume = Reading("dispensed_volume", Outcome.VALUE, "0.450", Decimal("0.450"), "mL")
    notices = (CurvePoint((volume,), sequence="0042"), RunEnded(aborted=True))
    (frame, _) = pour(
        FakeFactory(lambda: ScriptedDriver([[FrameRead(Span(0, 2), (), notices)]])), [(b"ab", AT)]
    )
    point, end = json.loads(json.dumps(frame))["notices"]
    assert (point["kind"], point["sequence"]) == ("curve_point", "0042")
    assert (point["values"][0]["quantity"], point["values"][0]["value"]) == ("dispensed_volume", "0.450")
    assert (end["kind"], end["aborted"], end["sample"]) == ("run_ended", True, None)


def test_the_summary_accounts_for_every_byte() -> None:
    *events, summary = poured(b"\r\n", RESULT, b"noise\r\n", RESULT[:20])
    assert [event["kind"] for event in events] == ["filler", "frame_read", "frame_refused", "frame_refused"]
    assert summary == {
        "kind": "summary",
        "bytes": 2 + 59 + 7 + 20,
        "read_frames": 1,
        "refused_frames": 2,
        "readings": 2,
        "read_bytes": 59,
        "refused_bytes": 27,
        "filler_bytes": 2,
        "unaccounted": 0,
        "faults": 0,
    }


def test_a_refused_frame_says_why() -> None:
    refused, _ = poured(RESULT.replace(b"29.6", b"79.6"))
    assert refused["reason"] == "wrong_check"
    assert "the frame says" in str(refused["detail"])


def test_no_bytes_give_an_empty_summary() -> None:
    (summary,) = poured()
    assert (summary["bytes"], summary["unaccounted"]) == (0, 0)


def test_an_error_in_the_driver_is_told_and_the_pour_goes_on() -> None:
    told = list(pour(FakeFactory(LineDriver), [(b"BUG\n", AT), (b"two\n", AT)]))
    assert [one["kind"] for one in told] == ["frame_refused", "fault", "frame_read", "summary"]
    assert str(told[1]["detail"]).startswith("RuntimeError: a bug of the driver")
    assert told[-1]["faults"] == 1


def test_silence_between_chunks_is_told_to_the_driver() -> None:
    script = [[], [FrameRead(Span(0, 2))]]
    factory = FakeFactory(lambda: ScriptedDriver(script, deadline_ns=5))
    told = list(pour(factory, [(b"ab", Instant(0, 0)), (b"c", Instant(1, 1_000))]))
    assert [(one["kind"], one.get("offset")) for one in told[:2]] == [("frame_read", 0), ("frame_refused", 2)]


def test_a_file_is_poured_whole(tmp_path: Path) -> None:
    path = tmp_path / "capture.bin"
    path.write_bytes(RESULT * 3000)
    *_, summary = pour_file(BURETTE, path)
    assert (summary["bytes"], summary["read_frames"]) == (3000 * len(RESULT), 3000)


def test_a_missing_file_is_an_error_of_the_system(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        list(pour_file(BURETTE, tmp_path / "absent"))


@given(st.lists(st.one_of(st.just(RESULT), st.binary(max_size=20)), max_size=5))
def test_every_byte_is_accounted_for_whatever_was_heard(chunks: list[bytes]) -> None:
    *events, summary = poured(*chunks)
    assert summary["unaccounted"] == 0
    assert summary["bytes"] == sum(map(len, chunks))
    assert json.loads(json.dumps(events)) == events

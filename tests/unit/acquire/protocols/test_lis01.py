"""CLSI LIS01-A2: what is asked for, what is acknowledged, and what counts."""

from decimal import Decimal

import pytest

from acquire.driver import Driver
from acquire.errors import DriverOptionError
from acquire.events import Event, FrameRead, FrameRefused, Instant, Outcome, Reading
from acquire.protocols.lis01 import factory
from acquire.reasons import (
    NO_ANSWER,
    NOT_TEXT,
    OUT_OF_FRAME,
    PARTIAL,
    UNFINISHED,
    UNKNOWN_TEST,
    UNKNOWN_UNIT,
    WRONG_CHECK,
    WRONG_INSTRUMENT,
    WRONG_LAYOUT,
    WRONG_SEQUENCE,
)
from tests.fakes.driver import AT
from tests.fakes.lis import ACK, ENQ, EOT, NAK, OPTIONS, frame, frames, message, result, transfer
from tests.unit.acquire.drivers import battery

SECOND_NS = 1_000_000_000


def driver(**options: object) -> Driver:
    return factory({**OPTIONS, **options})()


def later(seconds: float) -> Instant:
    return Instant(AT.utc_us + int(seconds * 1e6), AT.monotonic_ns + int(seconds * SECOND_NS))


def due(one: Driver) -> int | None:
    return one.next_deadline_ns


def say(one: Driver, *data: bytes) -> tuple[list[Event], list[bytes]]:
    """Say things one after the other; return the events and the reply to each."""
    events: list[Event] = []
    replies = []
    for piece in data:
        events += one.receive(piece, AT)
        replies.append(one.to_send())
    return events, replies


def read(events: list[Event]) -> list[Reading]:
    return battery.readings_of(events)


def refusals(events: list[Event]) -> list[str]:
    return [event.reason for event in events if isinstance(event, FrameRefused)]


# --- the conversation


def test_a_call_every_frame_and_nothing_else_is_acknowledged() -> None:
    _, replies = say(driver(), ENQ, *frames(message(result())), EOT)
    assert replies == [ACK] * 6 + [b""]


def test_a_message_counts_at_its_last_record_and_not_before() -> None:
    one = driver()
    before, _ = say(one, ENQ, *frames(message(result()))[:-1])
    assert read(before) == []
    at_the_end, _ = say(one, frames(message(result()))[-1])
    [reading] = read(at_the_end)
    assert reading == Reading(
        quantity="free_so2",
        outcome=Outcome.VALUE,
        text="28.5",
        value=Decimal("28.5"),
        unit="mg/L",
        sample="W-101",
        sequence="77/1/1",
        instrument_time="2025-09-03T10:12:44",
        mode="FSO2",
    )


def test_a_reading_belongs_to_the_frame_that_brought_it() -> None:
    sent = frames(message(result()))
    events, _ = say(driver(), ENQ, *sent)
    [event] = [event for event in events if isinstance(event, FrameRead) and event.readings]
    assert event.span.offset == 1 + sum(map(len, sent[:3]))
    assert event.span.length == len(sent[3])


def test_a_frame_that_is_sent_again_counts_once() -> None:
    sent = frames(message(result()))
    events, replies = say(driver(), ENQ, *sent[:4], sent[3], sent[3], sent[4], sent[4], EOT)
    assert len(read(events)) == 1
    assert replies == [ACK] * 9 + [b""]
    assert refusals(events) == []


def test_a_damaged_frame_is_asked_for_again_and_then_counts() -> None:
    sent = frames(message(result()))
    damaged = sent[3].replace(b"28.5", b"88.5")
    events, replies = say(driver(), ENQ, *sent[:3], damaged, *sent[3:], EOT)
    assert replies == [ACK, ACK, ACK, ACK, NAK, ACK, ACK, b""]
    assert refusals(events) == [WRONG_CHECK]
    assert [one.text for one in read(events)] == ["28.5"]


def test_a_frame_out_of_its_order_is_asked_for_again() -> None:
    sent = frames(message(result()))
    events, replies = say(driver(), ENQ, sent[0], sent[2], EOT)
    assert replies == [ACK, ACK, NAK, b""]
    assert WRONG_SEQUENCE in refusals(events)


def test_another_text_under_the_number_of_the_last_frame_is_no_repeat() -> None:
    events, replies = say(driver(), ENQ, frame(1, message()[0] + "\r"), frame(1, "P|1\r"), EOT)
    assert replies == [ACK, ACK, NAK, b""]
    assert WRONG_SEQUENCE in refusals(events)


def test_numbers_go_on_from_seven_to_zero() -> None:
    many = message(*(result(number=number, value=f"{number}.0") for number in range(1, 20)))
    events, replies = say(driver(), ENQ, *frames(many), EOT)
    assert replies == [ACK] * (1 + len(many)) + [b""]
    assert [one.text for one in read(events)] == [f"{number}.0" for number in range(1, 20)]


def test_two_messages_in_one_transfer_both_count() -> None:
    both = (*message(result(), message_id="1"), *message(result(value="30.1"), message_id="2"))
    events, _ = say(driver(), ENQ, *frames(both), EOT)
    assert [(one.text, one.sequence) for one in read(events)] == [("28.5", "1/1/1"), ("30.1", "2/1/1")]


def test_a_record_may_go_over_several_frames() -> None:
    head, line, end = "H|\\^&|9\r", result(value="28.5") + "\r", "L|1|N\r"
    pieces = [frame(1, head), frame(2, line[:9], b"\x17"), frame(3, line[9:20], b"\x17"), frame(4, line[20:])]
    events, replies = say(driver(), ENQ, *pieces, frame(5, end), EOT)
    assert replies == [ACK] * 6 + [b""]
    assert [one.text for one in read(events)] == ["28.5"]
    [event] = [event for event in events if isinstance(event, FrameRead) and event.readings]
    assert event.span.length == len(pieces[3])


def test_several_records_in_one_frame_each_name_their_own_bytes() -> None:
    records = message(result(), result("ODD", number=2), result("PH", "3.41", "", number=3))
    events, _ = say(driver(), ENQ, frame(1, "\r".join(records) + "\r"), EOT)
    assert [one.text for one in read(events)] == ["28.5", "3.41"]
    assert refusals(events) == [UNKNOWN_TEST]
    battery.assert_tiles(events, len(transfer([])) + len(frame(1, "\r".join(records) + "\r")))


def test_only_the_reply_to_what_came_last_waits() -> None:
    one = driver()
    one.receive(ENQ + EOT + ENQ, AT)
    assert one.to_send() == ACK
    one.receive(frame(1, "H|\\^&\r") + EOT, AT)
    assert one.to_send() == b""


def test_bytes_inside_a_transfer_that_are_no_frame_get_no_reply() -> None:
    one = driver()
    say(one, ENQ)
    events, replies = say(one, b"1H|\\^&\r\x03E5\r\n")
    assert replies == [b""]
    assert refusals(events) == [OUT_OF_FRAME]


def test_frames_outside_a_transfer_are_kept_and_not_read() -> None:
    sent = b"".join(frames(message(result())))
    events, replies = say(driver(), sent, ENQ)
    assert replies == [b"", ACK]
    assert refusals(events) == [OUT_OF_FRAME]
    assert read(events) == []


# --- what ends too early


@pytest.mark.parametrize("how", [EOT, ENQ])
def test_a_message_that_is_broken_off_does_not_count(how: bytes) -> None:
    one = driver()
    events, _ = say(one, ENQ, *frames(message(result()))[:-1], how)
    assert read(events) == []
    assert refusals(events) == [UNFINISHED] * 4


def test_a_message_that_begins_before_the_last_one_ended_replaces_it() -> None:
    two = (*message(result())[:-1], *message(result(value="30.1")))
    events, _ = say(driver(), ENQ, *frames(two), EOT)
    assert [one.text for one in read(events)] == ["30.1"]
    assert refusals(events) == [UNFINISHED] * 4


def test_after_thirty_seconds_without_a_frame_the_transfer_is_given_up() -> None:
    one = driver()
    say(one, ENQ, *frames(message(result()))[:3], b"\x024R|1")
    assert due(one) == later(30).monotonic_ns
    assert one.tick(later(29.9)) == []
    events = one.tick(later(30))
    assert refusals(events) == [UNFINISHED] * 3 + [NO_ANSWER]
    assert (one.to_send(), due(one)) == (b"", None)
    assert say(one, ENQ)[1] == [ACK]


def test_a_line_that_is_lost_leaves_nothing_unsaid() -> None:
    one = driver()
    heard = ENQ + b"".join(frames(message(result()))[:3]) + b"\x024R|1"
    events = [*one.receive(heard, AT), *one.closed(AT)]
    assert refusals(events) == [UNFINISHED] * 3 + [PARTIAL]
    battery.assert_tiles(events, len(heard))


def test_noise_outside_a_transfer_is_said_when_the_line_has_been_quiet() -> None:
    one = driver()
    assert one.receive(b"\xff\xfe\x00", AT) == []
    assert refusals(one.tick(later(2))) == [OUT_OF_FRAME]


def test_a_frame_without_an_end_is_refused_at_its_greatest_length() -> None:
    one = driver(max_frame_bytes=64)
    events, _ = say(one, ENQ, b"\x021" + b"x" * 200 + EOT)
    assert [event.span.length for event in events] == [1, 64, 138, 1]


def test_a_start_inside_a_frame_begins_the_frame_anew() -> None:
    sent = frames(message(result()))
    events, replies = say(driver(), ENQ, sent[0][:9] + sent[0], *sent[1:], EOT)
    assert replies == [ACK] * 6 + [b""]
    assert refusals(events) == [WRONG_LAYOUT]
    assert len(read(events)) == 1


# --- what records say


def of(*results: str, **parts: str) -> list[Event]:
    return driver().receive(transfer(message(*results, **parts)), AT)


@pytest.mark.parametrize(
    ("record", "outcome", "value"),
    [
        (result(value="28.50"), Outcome.VALUE, "28.50"),
        (result(value=">50.0"), Outcome.ABOVE_RANGE, "50.0"),
        (result(value="50.0", flag=">"), Outcome.ABOVE_RANGE, "50.0"),
        (result(value="0.5", flag="N\\<"), Outcome.BELOW_RANGE, "0.5"),
        (result(value=""), Outcome.NO_VALUE, None),
        (result(value='""'), Outcome.NO_VALUE, None),
        (result(status="X"), Outcome.NO_VALUE, None),
        (result(status="W"), Outcome.INSTRUMENT_ERROR, None),
        (result(status="P"), Outcome.NOT_STABLE, None),
    ],
)
def test_what_is_no_final_number_is_an_outcome(record: str, outcome: Outcome, value: str | None) -> None:
    [reading] = read(of(record))
    assert (reading.outcome, reading.value) == (outcome, None if value is None else Decimal(value))


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        (result("ODD"), UNKNOWN_TEST),
        (result(unit="g/L"), UNKNOWN_UNIT),
        (result(value="28,5"), "not_a_number"),
        (result(time="2025"), "wrong_time"),
        ("Z|1", WRONG_LAYOUT),
        ("R|1|^^^FSO2|28.5\x1b", NOT_TEXT),
    ],
)
def test_a_record_that_cannot_be_read_is_refused_and_the_others_count(record: str, reason: str) -> None:
    events = of(record, result(number=2, value="30.1"))
    assert refusals(events) == [reason]
    assert [one.text for one in read(events)] == ["30.1"]


def test_a_result_that_nobody_wants_is_read_without_a_reading() -> None:
    events = of(result("LAMP", "97"))
    assert (read(events), refusals(events)) == ([], [])


def test_a_result_under_an_order_that_cannot_be_read_has_nobody_to_go_to() -> None:
    events = of(result(), sample="W-\x1b")
    assert read(events) == []
    assert refusals(events) == [NOT_TEXT, WRONG_LAYOUT]


def test_a_result_without_an_order_has_no_sample() -> None:
    records = [record for record in message(result()) if not record.startswith("O")]
    [reading] = read(driver().receive(transfer(records), AT))
    assert (reading.sample, reading.sequence) == (None, "77/1")


def test_without_a_message_id_there_is_no_sequence() -> None:
    assert [one.sequence for one in read(of(result(), message_id=""))] == [None]


def test_escapes_and_delimiters_are_those_that_the_header_names() -> None:
    assert [one.sample for one in read(of(result(), sample="A&F&1&S&2&E&3&X&"))] == ["A|1^2&3&X&"]
    strange = [
        record.replace("|", "!").replace("^", "*")
        for record in message(result(), sample="A|1".replace("|", "-"))
    ]
    [reading] = read(driver().receive(transfer(strange), AT))
    assert (reading.sample, reading.text) == ("A-1", "28.5")


@pytest.mark.parametrize("code", ["T", "E", "R", "Q"])
def test_a_message_that_the_instrument_itself_broke_off_does_not_count(code: str) -> None:
    events = of(result(), end=f"L|1|{code}")
    assert read(events) == []
    assert set(refusals(events)) == {UNFINISHED}


@pytest.mark.parametrize("header", ["H", "H|\\^|", "H||||", "Habcd", "P|1"])
def test_a_message_without_a_sound_header_does_not_count(header: str) -> None:
    events = driver().receive(transfer([header, result(), "L|1|N"]), AT)
    assert read(events) == []
    assert set(refusals(events)) == {WRONG_LAYOUT}


def test_a_sender_other_than_the_expected_one_is_refused() -> None:
    assert len(read(driver(sender="BENCH").receive(transfer(message(result())), AT))) == 1
    events = driver(sender="CELLAR").receive(transfer(message(result())), AT)
    assert read(events) == []
    assert set(refusals(events)) == {WRONG_INSTRUMENT}


def test_the_code_may_stand_in_another_component() -> None:
    record = result().replace("^^^FSO2", "FSO2^free^")
    events = driver(code_component=1).receive(transfer(message(record)), AT)
    assert [one.mode for one in read(events)] == ["FSO2"]


# --- options


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "options.tests: is missing"),
        ({"tests": {}}, "options.tests"),
        ({**OPTIONS, "baud": 9600}, "options.baud: this key is not known here"),
        ({"tests": {"A": {"quantity": "ph"}}}, "wants exactly one of unit and units"),
        ({"tests": {"A": {"quantity": "ph", "unit": "g/L"}}}, "ph is never given in g/L"),
        ({"tests": {"A": {"quantity": "shine", "unit": "g/L"}}}, "unknown quantity 'shine'"),
        ({**OPTIONS, "frame_timeout_s": 0}, "options.frame_timeout_s"),
    ],
)
def test_options_are_refused_with_their_place(options: dict[str, object], words: str) -> None:
    with pytest.raises(DriverOptionError, match=words.replace(".", r"\.")):
        factory(options)


def test_the_identity_holds_what_is_needed_to_make_the_driver_again() -> None:
    identity = factory(OPTIONS).identity
    assert identity.name == "lis01"
    package, options, _ = identity.definition.split("\n")
    assert package == f"tundish=={identity.version}"
    assert '"FSO2":{"quantity":"free_so2","units":["mg/L","ppm"]}' in options

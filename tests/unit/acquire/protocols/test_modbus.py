"""Modbus RTU: published frames, scaling and byte order, and what is never taken for an answer.

Sources: MODBUS Application Protocol Specification V1.1b3 (2012), 6.3 (registers 107 to 109 hold 555, 0, 100)
and 6.4 (input register 8 holds 10); the CRC of ``02 07`` from MODBUS over Serial Line V1.02; the check value
of "123456789" from public catalogues of CRCs; the question ``11 03 00 6B 00 03 76 87`` and its answer
``11 03 06 AE 41 56 52 43 40 49 AD`` from public teaching texts, where they are widely printed.
"""

import struct
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.crc import crc16
from acquire.errors import DriverOptionError
from acquire.events import Filler, FrameRead, Outcome, Reading, Status
from acquire.protocols.modbus import factory
from acquire.protocols.modbus_frames import with_crc
from acquire.protocols.modbus_values import shortest_float32
from acquire.reasons import NO_ANSWER, NOT_ASKED, OUT_OF_FRAME, PARTIAL
from tests.fakes.conversation import Conversation

PH = {"at": 0, "type": "int16", "quantity": "ph", "unit": "pH", "scale": "0.01"}


def poll(**more: object) -> dict[str, object]:
    return {"registers": "holding", "first": 0, "count": 1, "every_s": 2.0, "fields": [PH], **more}


def talk(*polls: dict[str, object], device: int = 17, **more: object) -> Conversation:
    return Conversation(factory({"device": device, "poll": list(polls or (poll(),)), **more}))


def answer(*registers: int, device: int = 17, function: int = 3) -> bytes:
    contents = b"".join(register.to_bytes(2, "big") for register in registers)
    return with_crc(bytes([device, function, len(contents)]) + contents)


def field(
    kind: str, quantity: str = "conductivity", unit: str = "µS/cm", **more: object
) -> dict[str, object]:
    return {"at": 0, "type": kind, "quantity": quantity, "unit": unit, **more}


# --- published vectors


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (b"123456789", "374B"),
        (bytes.fromhex("0207"), "4112"),
        (bytes.fromhex("01030000000A"), "C5CD"),
        (bytes.fromhex("1103006B0003"), "7687"),
    ],
)
def test_the_crc_is_the_published_one_with_its_low_byte_first(data: bytes, crc: str) -> None:
    assert with_crc(data)[-2:].hex().upper() == crc
    assert crc16(with_crc(data), "crc16-modbus") == 0


def test_a_published_question_and_its_answer() -> None:
    fields = [field("uint16", at=place) for place in range(3)]
    one = talk(poll(first=0x6B, count=3, fields=fields))
    assert one.sent() == [bytes.fromhex("11 03 00 6B 00 03 76 87")]
    one.hear(bytes.fromhex("11 03 06 AE 41 56 52 43 40 49 AD"))
    assert [reading.text for reading in one.readings] == ["44609", "22098", "17216"]


def test_the_registers_of_the_specification() -> None:
    fields = [field("uint16", at=place) for place in range(3)]
    one = talk(poll(first=107, count=3, fields=fields), device=1)
    assert one.sent()[0][:6] == bytes.fromhex("01 03 00 6B 00 03")
    one.hear(bytes.fromhex("01 03 06 02 2B 00 00 00 64 05 7A"))
    assert [reading.value for reading in one.readings] == [555, 0, 100]


def test_the_input_register_of_the_specification() -> None:
    one = talk(poll(registers="input", first=8, fields=[field("int16")]), device=1)
    assert one.sent() == [bytes.fromhex("01 04 00 08 00 01 B0 08")]
    one.hear(bytes.fromhex("01 04 02 00 0A 39 37"))
    assert [reading.value for reading in one.readings] == [10]


# --- numbers


def read_one(options: dict[str, object], *registers: int) -> Reading:
    one = talk(poll(count=len(registers), fields=[options]))
    one.hear(answer(*registers))
    [reading] = one.readings
    return reading


@pytest.mark.parametrize(
    ("options", "registers", "text", "value"),
    [
        (field("uint16"), (0xFFFF,), "65535", "65535"),
        (field("int16"), (0xFFFE,), "-2", "-2"),
        (field("int16", order="BA"), (0xFEFF,), "-2", "-2"),
        (PH, (341,), "341", "3.41"),
        (field("uint32"), (0x0001, 0x0002), "65538", "65538"),
        (field("uint32", order="CDAB"), (0x0002, 0x0001), "65538", "65538"),
        (field("int32", order="DCBA"), (0xFEFF, 0xFFFF), "-2", "-2"),
        (field("uint32", order="BADC"), (0x0100, 0x0200), "65538", "65538"),
        (field("float32"), (0x405A, 0x3D71), "3.41", "3.41"),
        (field("float32", order="CDAB"), (0x3D71, 0x405A), "3.41", "3.41"),
        (field("float32", scale="1000"), (0x405A, 0x3D71), "3.41", "3410.00"),
        (field("float32"), (0x7F7F, 0xFFFF), "340282350000000000000000000000000000000", None),
    ],
)
def test_numbers_by_type_order_and_scale(
    options: dict[str, object], registers: tuple[int, ...], text: str, value: str | None
) -> None:
    reading = read_one(options, *registers)
    assert (reading.outcome, reading.text) == (Outcome.VALUE, text)
    assert reading.value == Decimal(value or text)


@pytest.mark.parametrize(
    ("options", "registers", "outcome"),
    [
        (field("float32"), (0x7FC0, 0), Outcome.NO_VALUE),
        (field("float32"), (0x7F80, 0), Outcome.ABOVE_RANGE),
        (field("float32"), (0xFF80, 0), Outcome.BELOW_RANGE),
        (field("int16", no_value=["8000"]), (0x8000,), Outcome.NO_VALUE),
        (field("int16", above_range=["7FFF"]), (0x7FFF,), Outcome.ABOVE_RANGE),
        (field("int16", below_range=["8001"]), (0x8001,), Outcome.BELOW_RANGE),
    ],
)
def test_marks_in_place_of_a_number_are_outcomes(
    options: dict[str, object], registers: tuple[int, ...], outcome: Outcome
) -> None:
    reading = read_one(options, *registers)
    assert (reading.outcome, reading.value) == (outcome, None)


@given(st.floats(width=32, allow_nan=False, allow_infinity=False))
def test_the_digits_of_a_float_say_it_exactly_and_with_nothing_more(number: float) -> None:
    text = shortest_float32(number)
    assert struct.pack(">f", float(text)) == struct.pack(">f", number)
    assert len(Decimal(text).normalize().as_tuple().digits) <= 9


# --- the conversation


def test_it_asks_again_at_its_interval() -> None:
    one = talk()
    one.sent()
    one.hear(answer(341), after_s=0.1)
    assert one.wait(1.8) == []
    assert len(one.wait(0.1)) == 1
    assert one.elapsed_s == 2.0


def test_several_polls_take_turns() -> None:
    one = talk(poll(), poll(registers="input", every_s=5.0, fields=[field("uint16")]))
    assert len(one.sent()) == 1
    asked = one.hear(answer(341)) + one.wait(0.1)
    assert [question[1] for question in asked] == [4]
    one.hear(answer(7, function=4))
    assert [reading.text for reading in one.readings] == ["341", "7"]


def test_an_exception_is_an_instrument_error_and_no_number() -> None:
    one = talk()
    one.hear(with_crc(b"\x11\x83\x02"))
    [event] = one.events
    assert isinstance(event, FrameRead)
    assert event.notices == (Status("02", Outcome.INSTRUMENT_ERROR, "illegal data address"),)
    [reading] = event.readings
    assert (reading.outcome, reading.value) == (Outcome.INSTRUMENT_ERROR, None)


def test_no_answer_is_waited_for_no_longer_than_its_time() -> None:
    one = talk(poll(timeout_s=0.5))
    one.sent()
    assert one.hear(answer(341)[:4]) == []
    one.wait(0.5)
    assert one.refusals == [NO_ANSWER]
    assert len(one.wait(1.5)) == 1


def test_a_late_answer_is_refused_and_never_taken_for_that_to_the_next_poll() -> None:
    one = talk(poll(timeout_s=0.5), poll(count=2, every_s=2.0, fields=[field("uint16")]))
    one.wait(0.6)
    one.hear(answer(341))
    one.wait(1.0)
    assert one.refusals == [NOT_ASKED]
    one.hear(answer(355))
    one.hear(answer(7, 8))
    assert [reading.text for reading in one.readings] == ["7"]


def test_a_stalled_daemon_asks_once_and_gives_the_answer_its_whole_time() -> None:
    one = talk()
    one.hear(answer(341))
    assert len(one.stall(30)) == 1
    assert one.wait(0.9) == []
    one.hear(answer(342))
    assert one.refusals == []
    assert [reading.text for reading in one.readings] == ["341", "342"]


def test_noise_before_an_answer_is_refused_and_the_answer_read() -> None:
    one = talk()
    one.hear(b"\x00\xff\x11\x03" + answer(341))
    assert one.refusals == [OUT_OF_FRAME]
    assert [reading.text for reading in one.readings] == ["341"]


def test_an_answer_of_another_device_or_function_is_no_answer() -> None:
    one = talk()
    one.hear(answer(341, device=18))
    one.hear(answer(341, function=4))
    assert one.readings == []
    one.wait(1)
    assert one.refusals == [NO_ANSWER]


def test_bytes_that_nobody_asked_for_are_refused() -> None:
    one = talk()
    one.hear(answer(341))
    one.hear(answer(342))
    one.wait(3)
    assert one.refusals == [NOT_ASKED]
    assert [reading.text for reading in one.readings] == ["341"]


def test_an_echo_is_filler_if_it_was_declared() -> None:
    one = talk(echo=True)
    [question] = one.sent()
    one.hear(question[:3])
    one.hear(question[3:] + answer(341))
    assert [type(event) for event in one.events] == [Filler, FrameRead]


def test_without_the_declared_echo_the_answer_still_counts() -> None:
    one = talk(echo=True)
    one.hear(answer(341))
    assert [reading.text for reading in one.readings] == ["341"]


def test_what_is_unfinished_at_the_end_is_refused() -> None:
    one = talk()
    one.hear(answer(341)[:-1])
    one.close()
    assert one.refusals == [PARTIAL]


def test_a_pour_of_the_conversation_gives_the_same_events() -> None:
    one = talk(poll(timeout_s=0.5), poll(count=2, every_s=3.0, fields=[field("uint16")]))
    one.hear(answer(341), after_s=0.2)
    one.hear(answer(7, 8), after_s=0.2)
    one.wait(2.9)
    one.hear(answer(342), after_s=0.1)
    one.wait(4)
    assert one.close() == one.poured()
    assert len(one.readings) >= 2


# --- options


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "options.device: is missing"),
        ({"device": 0, "poll": [poll()]}, "options.device"),
        ({"device": 1, "poll": []}, "options.poll"),
        ({"device": 1, "poll": [poll(), poll(first=9)]}, "a late answer to one could be taken for the other"),
        ({"device": 1, "poll": [poll(count=126)]}, "options.poll.0.count"),
        ({"device": 1, "poll": [poll(first=65535, count=2)]}, "beyond address 65535"),
        ({"device": 1, "poll": [poll(fields=[field("uint32")])]}, "reaches beyond the 1 registers"),
        ({"device": 1, "poll": [poll(fields=[field("int16", order="ABCD")])]}, "int16 has 2 bytes"),
        ({"device": 1, "poll": [poll(fields=[field("int16", no_value=["80000"])])]}, "hexadecimal digits"),
        ({"device": 1, "poll": [poll(fields=[field("int16", no_value=["80000000"])])]}, "int16 has 2 bytes"),
        ({"device": 1, "poll": [poll(fields=[field("int16", scale="0")])]}, "other than zero"),
        ({"device": 1, "poll": [poll(fields=[field("int16", scale="much")])]}, "no decimal number"),
        ({"device": 1, "poll": [poll(fields=[field("int16", unit="g")])]}, "never given in g"),
    ],
)
def test_options_are_refused_with_their_place(options: dict[str, object], words: str) -> None:
    with pytest.raises(DriverOptionError, match=words.replace(".", r"\.")):
        factory(options)

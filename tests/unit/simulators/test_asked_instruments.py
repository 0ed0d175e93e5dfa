"""Instruments that speak only when asked: registers, queries, a balance."""

import struct

import pytest

from simulators.balances import CAPACITY_G, AskedBalance, ButtonBalance
from simulators.instrument import Message
from simulators.modbus_device import ModbusDevice, crc, framed
from simulators.ph_meter import Beaker
from simulators.query_meter import QueryMeter

OXYGEN = framed(b"\x11\x04\x00\x00\x00\x04")


def data(messages: list[Message]) -> bytes:
    return b"".join(message.data for message in messages)


# --- Modbus


def test_the_crc_is_that_of_the_published_frames() -> None:
    assert crc(bytes.fromhex("11 03 00 6B 00 03")) == bytes.fromhex("76 87")
    assert crc(bytes.fromhex("02 07")) == bytes.fromhex("41 12")


def test_a_device_answers_with_its_registers() -> None:
    answer = data(ModbusDevice("do-1").hear(OXYGEN, 0.0))
    assert answer[:3] == b"\x11\x04\x08"
    assert crc(answer[:-2]) == answer[-2:]
    [oxygen] = struct.unpack(">f", answer[5:7] + answer[3:5])
    assert oxygen == pytest.approx(8.0, abs=0.1)
    assert struct.unpack(">h", answer[7:9])[0] == pytest.approx(142, abs=3)


def test_its_oxygen_falls_as_it_works() -> None:
    messages = ModbusDevice("do-1").hear(OXYGEN, 7200.0)
    assert messages[0].meaning["true_do_mg_l"] == pytest.approx(1.4286, abs=1e-3)


def test_a_question_may_come_in_pieces_and_behind_noise() -> None:
    one = ModbusDevice("do-1")
    assert one.hear(b"\xff" + OXYGEN[:5], 0.0) == []
    assert data(one.hear(OXYGEN[5:], 0.0))[:2] == b"\x11\x04"


@pytest.mark.parametrize("question", [framed(b"\x12\x04\x00\x00\x00\x04"), OXYGEN[:-1] + b"\x00"])
def test_it_is_silent_to_questions_for_others_and_to_damaged_ones(question: bytes) -> None:
    assert ModbusDevice("do-1").hear(question, 0.0) == []


@pytest.mark.parametrize(
    ("question", "code"), [(b"\x11\x06\x00\x00\x00\x01", 1), (b"\x11\x04\x00\x02\x00\x04", 2)]
)
def test_a_question_that_it_cannot_answer_gets_an_exception(question: bytes, code: int) -> None:
    answer = data(ModbusDevice("do-1").hear(framed(question), 0.0))
    assert (answer[1] & 0x80, answer[2]) == (0x80, code)


def test_a_busy_device_says_so_once() -> None:
    one = ModbusDevice("do-1")
    one.command(["busy"])
    assert data(one.hear(OXYGEN, 0.0))[1:3] == b"\x84\x06"
    assert data(one.hear(OXYGEN, 0.0))[1:3] == b"\x04\x08"


def test_ailments_of_the_device() -> None:
    one = ModbusDevice("do-1")
    one.suffer("over_range", begins=True)
    assert data(one.hear(OXYGEN, 0.0))[3:7] == b"\x00\x00\x7f\x80"
    one.suffer("over_range", begins=False)
    one.suffer("fouled_probe", begins=True)
    assert data(one.hear(OXYGEN, 0.0))[7:9] == b"\x80\x00"
    one.suffer("exception", begins=True)
    assert data(one.hear(OXYGEN, 0.0))[1:3] == b"\x84\x04"
    one.suffer("slow_answers", begins=True)
    assert one.hear(OXYGEN, 0.0) == []
    assert one.next_due_s == 5.0
    assert len(one.advance(5.0)) == 1


def test_another_specimen_has_another_serial_number() -> None:
    one = ModbusDevice("do-1")
    question = framed(b"\x11\x03\x00\x00\x00\x02")
    before = data(one.hear(question, 0.0))
    one.suffer("another_serial", begins=True)
    assert data(one.hear(question, 0.0)) != before


# --- queries


def meter() -> QueryMeter:
    return QueryMeter("ph-2", iter([Beaker("a", 3.41, 21.0), Beaker("b", 3.62, 20.0)]))


def test_a_meter_says_who_it_is() -> None:
    assert data(meter().hear(b"*idn?\n", 0.0)) == b"SIMULATED,BENCH-PH,0042,1.3\n"


def test_several_queries_in_one_line_are_answered_in_one_line() -> None:
    ph, temperature = data(meter().hear(b"MEAS:PH?;MEAS:TEMP?\r\n", 0.0)).split(b";")
    assert float(ph) == pytest.approx(3.41, abs=0.02)
    assert float(temperature) == pytest.approx(21.0, abs=0.2)


def test_what_it_does_not_know_becomes_an_error_that_can_be_asked_for() -> None:
    one = meter()
    assert one.hear(b"MAKE:TEA\n*CLS\nMAKE:TEA\n", 0.0) == []
    assert data(one.hear(b"SYST:ERR?\nSYST:ERR?\n", 0.0)) == b'-113,"Undefined header"\n0,"No error"\n'


def test_ailments_of_the_meter() -> None:
    one = meter()
    one.suffer("fouled_probe", begins=True)
    assert float(data(one.hear(b"MEAS:PH?\n", 0.0))) == pytest.approx(3.95, abs=0.02)
    one.suffer("over_range", begins=True)
    assert data(one.hear(b"MEAS:PH?\n", 0.0)) == b"9.9E37\n"
    one.suffer("another_serial", begins=True)
    assert b",0043," in data(one.hear(b"*IDN?\n", 0.0))
    one.suffer("slow_answers", begins=True)
    assert one.hear(b"*IDN?\n", 0.0) == []
    assert b",0043," in data(one.advance(5.0))


def test_the_electrode_goes_to_the_next_beaker() -> None:
    one = meter()
    one.command(["beaker"])
    assert float(data(one.hear(b"MEAS:PH?\n", 0.0))) == pytest.approx(3.62, abs=0.02)
    with pytest.raises(ValueError, match="there is: beaker"):
        one.command(["tea"])


# --- balances


def test_a_balance_drifts_and_then_rests() -> None:
    one = AskedBalance("bal-1")
    one.advance(1.0)
    one.command(["put", "50"])
    one.advance(1.0)
    assert data(one.hear(b"W\r\n", 1.2)).startswith(b"D +")
    assert data(one.hear(b"W\r\n", 20.0)).startswith((b"S +50.000", b"S +49.999"))


def test_a_balance_does_not_know_other_questions() -> None:
    assert data(AskedBalance("bal-1").hear(b"X\r\n", 0.0)) == b"?\r\n"


def test_a_load_beyond_its_capacity_is_shown_as_dashes() -> None:
    one = AskedBalance("bal-1")
    one.command(["put", str(CAPACITY_G + 1)])
    assert data(one.hear(b"W\r\n", 20.0)) == b"S -------- g\r\n"


def test_a_button_prints_what_lies_on_the_pan() -> None:
    one = ButtonBalance("bal-2")
    one.advance(1.0)
    one.command(["put", "104.5"])
    printed = data(one.command(["print"]))
    assert printed[:9] in (b"W + 104.5", b"W + 104.4")
    assert printed.endswith(b" g  * \r\n")
    one.suffer("over_range", begins=True)
    assert data(one.command(["print"])) == b"W   ^^^^^^^^^ g  ? \r\n"


def test_a_load_below_nothing_has_its_sign_apart() -> None:
    one = ButtonBalance("bal-2")
    one.command(["put", "-0.5"])
    assert data(one.command(["print"]))[:9] in (b"W -   0.5", b"W -   0.4")


def test_somebody_weighs_every_now_and_then() -> None:
    assert len(ButtonBalance("bal-2").advance(100.0)) == 3


@pytest.mark.parametrize("one", [AskedBalance("a"), ButtonBalance("b")])
def test_there_is_no_other_button(one: AskedBalance | ButtonBalance) -> None:
    with pytest.raises(ValueError, match="no button 'tea'"):
        one.command(["tea"])

"""Frame checks give the published values and refuse what does not fit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.checks import FrameCheck, Writing, sum8, sum8_inverted, sum8_negated, sum16, xor8
from acquire.drivers.crc import CRC16, CrcName, crc16
from acquire.drivers.refusal import Refusal

NINE_DIGITS = b"123456789"  # the input of the catalogue's check values


# Cook, G.: Catalogue of parametrised CRC algorithms, the check value of the entry of each name.
PUBLISHED: dict[CrcName, int] = {
    "crc16-arc": 0xBB3D,
    "crc16-ibm-3740": 0x29B1,
    "crc16-ibm-sdlc": 0x906E,
    "crc16-kermit": 0x2189,
    "crc16-modbus": 0x4B37,
    "crc16-usb": 0xB4C8,
    "crc16-xmodem": 0x31C3,
}


def test_every_crc_gives_the_published_check_value() -> None:
    assert {name: crc16(NINE_DIGITS, name) for name in CRC16} == PUBLISHED


def test_sum8_keeps_the_low_byte() -> None:
    assert sum8(NINE_DIGITS) == 0xDD  # 0x31 + ... + 0x39 = 0x1DD


def test_sum16_keeps_two_bytes() -> None:
    assert sum16(NINE_DIGITS) == 0x1DD
    assert sum16(b"\xff" * 300) == 300 * 255 - 65536


def test_sum8_inverted_makes_the_sum_all_ones() -> None:
    assert sum8_inverted(NINE_DIGITS) == 0x22  # 0xDD with every bit turned over
    assert (sum8(NINE_DIGITS) + sum8_inverted(NINE_DIGITS)) & 0xFF == 0xFF


def test_sum8_negated_makes_the_sum_zero() -> None:
    # As the redundancy check of Modbus ASCII: 01 03 00 00 00 0A gives F2, computed by hand.
    assert sum8_negated(bytes.fromhex("01030000000A")) == 0xF2


def test_xor8_of_bytes_and_themselves_is_nothing() -> None:
    assert (xor8(b"3.41\x03"), xor8(b"3.413.41")) == (0x1B, 0)


@given(st.binary(min_size=1, max_size=30), st.data())
def test_every_single_changed_byte_changes_every_check(body: bytes, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(body) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda other: other != body[at]))
    changed = body[:at] + bytes([byte]) + body[at + 1 :]
    assert all(check(body) != check(changed) for check in (sum8, sum8_negated, sum16, xor8))
    assert all(crc16(body, name) != crc16(changed, name) for name in CRC16)


def test_gives_the_body_without_its_check() -> None:
    assert FrameCheck("sum8", b"*").text_of(b"3.41*C6") == b"3.41"


def test_refuses_a_wrong_check_and_says_both() -> None:
    with pytest.raises(Refusal, match="the bytes give b'C6', the frame says b'C7'") as caught:
        FrameCheck("sum8", b"*").text_of(b"3.41*C7")
    assert caught.value.reason == "wrong_check"


@pytest.mark.parametrize("body", [b"", b"*", b"C6", b"3.41 C6", b"3.41*c6", b"3.41*C", b"3.41*+6"])
def test_refuses_a_body_whose_check_is_not_as_declared(body: bytes) -> None:
    with pytest.raises(Refusal):
        FrameCheck("sum8", b"*").text_of(body)


def test_bytes_left_out_are_not_covered_but_stay_in_the_text() -> None:
    assert FrameCheck("sum8", b"*", skip_bytes=2).text_of(b"N|3.41*C6") == b"N|3.41"


def test_a_covered_start_mark_counts() -> None:
    assert FrameCheck("sum8", b"*", prefix=b"\x02").text_of(b"3.41*C8") == b"3.41"


def test_lower_case_is_taken_where_it_is_declared() -> None:
    assert FrameCheck("crc16-modbus", b"*", case="lower").text_of(b"123456789*4b37") == NINE_DIGITS
    assert FrameCheck("crc16-modbus", b"*", case="any").text_of(b"123456789*4B37") == NINE_DIGITS


@pytest.mark.parametrize(
    ("written", "sent"),
    [
        ("hex", b"4B37"),
        ("decimal", b"19255"),
        ("bytes_high_first", b"\x4b\x37"),
        ("bytes_low_first", b"\x37\x4b"),
    ],
)
def test_a_check_is_written_in_the_declared_way(written: Writing, sent: bytes) -> None:
    check = FrameCheck("crc16-modbus", b"*", written=written)
    assert check.text_of(NINE_DIGITS + b"*" + sent) == NINE_DIGITS
    with pytest.raises(Refusal):
        check.text_of(NINE_DIGITS + b"*" + sent[::-1])


def test_a_check_may_stand_behind_the_end_mark_and_cover_it() -> None:
    # As ISO 1155 has it: exclusive or of the text and ETX; "3.41" ETX gives 1B, computed by hand.
    check = FrameCheck("xor8", written="bytes_high_first", behind_end=True, includes_end=True)
    assert check.text_of(b"3.41", b"\x03\x1b") == b"3.41"
    with pytest.raises(Refusal, match="the bytes give"):
        check.text_of(b"3.41", b"\x03\x18")
    without = FrameCheck("xor8", written="bytes_high_first", behind_end=True)
    assert without.text_of(b"3.41", b"\x03\x18") == b"3.41"

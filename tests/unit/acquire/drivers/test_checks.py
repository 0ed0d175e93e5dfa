"""Frame checks give the published values and refuse what does not fit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.checks import FrameCheck, crc16_ibm_3740, crc16_modbus, crc16_xmodem, sum8, xor8
from acquire.drivers.refusal import Refusal

NINE_DIGITS = b"123456789"  # the input of the catalogue's check values


def test_crc16_modbus_gives_the_published_check_value() -> None:
    # Cook, G.: Catalogue of parametrised CRC algorithms, entry CRC-16/MODBUS.
    assert crc16_modbus(NINE_DIGITS) == 0x4B37


def test_crc16_ibm_3740_gives_the_published_check_value() -> None:
    # Cook, G.: Catalogue of parametrised CRC algorithms, entry CRC-16/IBM-3740.
    assert crc16_ibm_3740(NINE_DIGITS) == 0x29B1


def test_crc16_xmodem_gives_the_published_check_value() -> None:
    # Cook, G.: Catalogue of parametrised CRC algorithms, entry CRC-16/XMODEM.
    assert crc16_xmodem(NINE_DIGITS) == 0x31C3


def test_sum8_keeps_the_low_byte() -> None:
    assert sum8(NINE_DIGITS) == 0xDD  # 0x31 + ... + 0x39 = 0x1DD


def test_xor8_of_bytes_and_themselves_is_nothing() -> None:
    assert (xor8(b"3.41\x03"), xor8(b"3.413.41")) == (0x1B, 0)


@given(st.binary(min_size=1, max_size=30), st.data())
def test_every_single_changed_byte_changes_every_check(body: bytes, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(body) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda other: other != body[at]))
    changed = body[:at] + bytes([byte]) + body[at + 1 :]
    for check in (sum8, xor8, crc16_modbus, crc16_ibm_3740, crc16_xmodem):
        assert check(body) != check(changed)


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

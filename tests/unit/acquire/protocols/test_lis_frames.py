"""Frames against figures from outside.

``1A|B|C|D<CR><ETX>`` with check BF is a test vector of the public codec library python-astm (2012,
``astm/tests/test_codecs.py``). The others are computed by hand from the rule of CLSI LIS01-A2: the sum,
modulo 256, from the frame number to ETB or ETX.
"""

import pytest

from acquire.drivers.refusal import Refusal
from acquire.protocols.lis_frames import Frame, number_after, parse_frame
from acquire.reasons import WRONG_CHECK, WRONG_LAYOUT

VECTORS = [
    (b"1A|B|C|D\r\x03", b"BF"),
    (b"5L|1|N\r\x03", b"08"),
    (b"1H|\\^&|||BENCH^1|||||||P|LIS2-A2|20250903101244\r\x03", b"6F"),
    (b"2P|1\r\x03", b"3F"),
    (b"3O|1|W-101||^^^SO2\r\x03", b"B7"),
    (b"4R|1|^^^FSO2|28.5|mg/L||N||F||||20250903101244\r\x03", b"3C"),
    (b"6C|1|I|first half \x17", b"81"),
    (b"7second half\r\x03", b"7E"),
]


@pytest.mark.parametrize(("covered", "check"), VECTORS)
def test_the_check_of_a_published_frame_fits(covered: bytes, check: bytes) -> None:
    frame = parse_frame(b"\x02" + covered + check + b"\r\n")
    assert frame == Frame(int(covered[:1]), covered[1:-1], covered.endswith(b"\x03"))


@pytest.mark.parametrize(("covered", "check"), VECTORS)
def test_no_single_changed_byte_of_a_frame_is_accepted_as_another_text(covered: bytes, check: bytes) -> None:
    sound = b"\x02" + covered + check + b"\r\n"
    wanted = parse_frame(sound)
    for place in range(len(sound)):
        for byte in range(256):
            damaged = sound[:place] + bytes([byte]) + sound[place + 1 :]
            assert _outcome(damaged) in (wanted, WRONG_CHECK, WRONG_LAYOUT)


def _outcome(data: bytes) -> Frame | str:
    try:
        return parse_frame(data)
    except Refusal as refusal:
        return refusal.reason


def test_hex_digits_may_be_small_letters() -> None:
    assert parse_frame(b"\x021A|B|C|D\r\x03bf\r\n").text == b"A|B|C|D\r"


def test_a_frame_number_beyond_seven_is_no_frame() -> None:
    covered = b"8A\r\x03"
    with pytest.raises(Refusal, match="wanted a digit from 0 to 7"):
        parse_frame(b"\x02" + covered + f"{sum(covered) % 256:02X}".encode() + b"\r\n")


def test_after_seven_comes_zero() -> None:
    assert [number_after(None), number_after(Frame(6, b"", True)), number_after(Frame(7, b"", True))] == [
        1,
        7,
        0,
    ]

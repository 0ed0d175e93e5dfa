"""Frames of CLSI LIS01-A2: ``STX number text (ETB | ETX) check check CR LF``.

The check is the sum, modulo 256, of all bytes from the number to ETB or ETX, as two hex digits. It sees every
single damaged byte; bytes that swap places, and changes that cancel out, stay unseen.
"""

from typing import Final, NamedTuple

from acquire.drivers.checks import sum8
from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_CHECK, WRONG_LAYOUT

STX: Final = b"\x02"
ETX: Final = b"\x03"
EOT: Final = b"\x04"
ENQ: Final = b"\x05"
ACK: Final = b"\x06"
NAK: Final = b"\x15"
ETB: Final = b"\x17"
LF: Final = b"\n"

NUMBERS: Final = 8  # frame numbers run 1, 2 … 7, 0, 1 …
TAIL_BYTES: Final = 5  # ETB or ETX, two digits, CR, LF [bytes]


class Frame(NamedTuple):
    """What a frame carries."""

    number: int
    text: bytes
    is_last: bool
    """Ended by ETX: no later frame goes on with its record."""


def parse_frame(data: bytes) -> Frame:
    """Return what a frame, from STX to LF, carries; raise `Refusal` if it is not whole and sound."""
    end = len(data) - TAIL_BYTES
    number, mark, tail = data[1:2], data[end : end + 1], data[-2:]
    if end < 2 or mark not in (ETB, ETX) or tail != b"\r\n":
        raise Refusal(
            WRONG_LAYOUT, f"wanted STX, number, text, ETB or ETX, two digits, CR LF, got {shown(data)}"
        )
    wanted = b"%02X" % sum8(data[1 : end + 1])
    sent = data[end + 1 : end + 3]
    if sent.upper() != wanted:
        raise Refusal(WRONG_CHECK, f"the bytes give {wanted!r}, the frame says {sent!r}")
    if number not in b"01234567":
        raise Refusal(WRONG_LAYOUT, f"the frame number is {shown(number)}, wanted a digit from 0 to 7")
    return Frame(int(number), data[2:end], mark == ETX)


def framed(number: int, text: bytes) -> bytes:
    """Return the only frame of a text."""
    covered = b"%d" % number + text + ETX
    return STX + covered + b"%02X\r\n" % sum8(covered)


def number_after(last: Frame | None) -> int:
    """Return the number of the frame that follows; the first one after ENQ is 1."""
    return 1 if last is None else (last.number + 1) % NUMBERS

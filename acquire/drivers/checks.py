"""Frame checks: a number at the end of a frame that is computed from the bytes before it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final, Literal

from acquire.drivers.crc import CRC16, CrcName, crc16
from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_CHECK

CheckKind = Literal["sum8", "sum8-negated", "sum8-inverted", "sum16", "xor8"] | CrcName
Writing = Literal["hex", "decimal", "bytes_high_first", "bytes_low_first"]
HexCase = Literal["upper", "lower", "any"]


def sum8(data: bytes) -> int:
    """Return the sum of the bytes modulo 256. Changes that cancel out, and swapped bytes, stay unseen."""
    return sum(data) & 0xFF


def sum8_negated(data: bytes) -> int:
    """Return what makes the sum of the bytes zero modulo 256; it sees as little as `sum8`."""
    return -sum(data) & 0xFF


def sum8_inverted(data: bytes) -> int:
    """Return the sum of the bytes modulo 256 with all its bits turned over; it sees as little as `sum8`."""
    return ~sum(data) & 0xFF


def sum16(data: bytes) -> int:
    """Return the sum of the bytes modulo 65536. Changes that cancel out, and swapped bytes, stay unseen."""
    return sum(data) & 0xFFFF


def xor8(data: bytes) -> int:
    """Return the exclusive or of the bytes. Swapped bytes and equal flips in two bytes stay unseen."""
    result = 0
    for byte in data:
        result ^= byte
    return result


_FUNCTIONS: Final[dict[CheckKind, tuple[Callable[[bytes], int], int]]] = {
    "sum8": (sum8, 1),
    "sum8-negated": (sum8_negated, 1),
    "sum8-inverted": (sum8_inverted, 1),
    "sum16": (sum16, 2),
    "xor8": (xor8, 1),
    **{name: (partial(crc16, name=name), 2) for name in CRC16},
}
"""What computes each check, and its size. [bytes]"""

_DECIMAL_DIGITS: Final = {1: 3, 2: 5}
"""Of the greatest check of so many bytes."""


def check_length(kind: CheckKind, written: Writing) -> int:
    """Return how many bytes a check takes in a frame. [bytes]"""
    size = _FUNCTIONS[kind][1]
    return {"hex": 2 * size, "decimal": _DECIMAL_DIGITS[size]}.get(written, size)


@dataclass(frozen=True, slots=True)
class FrameCheck:
    """Hold the check at the end of a frame against the bytes that it covers."""

    kind: CheckKind
    mark: bytes = b""
    """Stands between the covered bytes and the check; not covered."""
    skip_bytes: int = 0
    """At the beginning of the body, not covered. [bytes]"""
    prefix: bytes = b""
    """Covered bytes that stand before the body: the start mark, or nothing."""
    case: HexCase = "upper"
    written: Writing = "hex"
    behind_end: bool = False
    """The check stands behind the end mark, not before it."""
    includes_end: bool = False
    """The end mark is covered too."""

    def text_of(self, body: bytes, tail: bytes = b"") -> bytes:
        """Return the body without its check; refuse it if the check is missing or does not fit.

        Parameters
        ----------
        body : bytes
            What stands between the marks.
        tail : bytes
            The end mark and what stands behind it, if the check does.
        """
        function, _ = _FUNCTIONS[self.kind]
        length = check_length(self.kind, self.written)
        whole = tail if self.behind_end else body
        at = len(whole) - length - len(self.mark)
        least = 0 if self.behind_end else self.skip_bytes
        if at < least or not whole.startswith(self.mark, at):
            raise Refusal(
                WRONG_CHECK, f"wanted {self.mark!r} and {length} bytes at the end, got {shown(whole[-8:])}"
            )
        text = body if self.behind_end else body[:at]
        covered = self.prefix + text[self.skip_bytes :]
        if self.includes_end:
            covered += tail[:at]
        wanted, sent = self._written(function(covered), length), whole[-length:]
        if (sent.upper() if self.case == "any" else sent) != wanted:
            raise Refusal(WRONG_CHECK, f"the bytes give {wanted!r}, the frame says {sent!r}")
        return text

    def _written(self, value: int, length: int) -> bytes:
        match self.written:
            case "hex":
                return (b"%0*x" if self.case == "lower" else b"%0*X") % (length, value)
            case "decimal":
                return b"%0*d" % (length, value)
            case "bytes_high_first":
                return value.to_bytes(length, "big")
            case "bytes_low_first":
                return value.to_bytes(length, "little")

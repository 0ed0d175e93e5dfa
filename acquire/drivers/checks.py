"""Frame checks: a number at the end of a frame that is computed from the bytes before it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_CHECK

CheckKind = Literal["sum8", "xor8", "crc16-modbus", "crc16-ibm-3740", "crc16-xmodem"]
HexCase = Literal["upper", "lower", "any"]


def sum8(data: bytes) -> int:
    """Return the sum of the bytes modulo 256. Changes that cancel out, and swapped bytes, stay unseen."""
    return sum(data) & 0xFF


def xor8(data: bytes) -> int:
    """Return the exclusive or of the bytes. Swapped bytes and equal flips in two bytes stay unseen."""
    result = 0
    for byte in data:
        result ^= byte
    return result


def crc16_modbus(data: bytes) -> int:
    """Return the CRC with polynomial 0x8005, bits reflected, begun with 0xFFFF."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _REFLECTED_8005[(crc ^ byte) & 0xFF]
    return crc


def crc16_ibm_3740(data: bytes) -> int:
    """Return the CRC with polynomial 0x1021, begun with 0xFFFF."""
    return _crc16_1021(data, 0xFFFF)


def crc16_xmodem(data: bytes) -> int:
    """Return the CRC with polynomial 0x1021, begun with 0."""
    return _crc16_1021(data, 0)


def _crc16_1021(data: bytes, crc: int) -> int:
    for byte in data:
        crc = ((crc << 8) & 0xFFFF) ^ _PLAIN_1021[(crc >> 8) ^ byte]
    return crc


def _reflected_entry(byte: int) -> int:
    for _ in range(8):
        byte = (byte >> 1) ^ (0xA001 if byte & 1 else 0)  # 0xA001 is 0x8005 with its bits reversed
    return byte


def _plain_entry(byte: int) -> int:
    crc = byte << 8
    for _ in range(8):
        crc = ((crc << 1) ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


_REFLECTED_8005: Final = tuple(_reflected_entry(byte) for byte in range(256))
_PLAIN_1021: Final = tuple(_plain_entry(byte) for byte in range(256))

_FUNCTIONS: Final[dict[CheckKind, tuple[Callable[[bytes], int], int]]] = {
    "sum8": (sum8, 2),
    "xor8": (xor8, 2),
    "crc16-modbus": (crc16_modbus, 4),
    "crc16-ibm-3740": (crc16_ibm_3740, 4),
    "crc16-xmodem": (crc16_xmodem, 4),
}


@dataclass(frozen=True, slots=True)
class FrameCheck:
    """Hold the check at the end of a frame against the bytes that it covers."""

    kind: CheckKind
    mark: bytes = b""
    """Stands between the covered bytes and the digits; not covered."""
    skip_bytes: int = 0
    """At the beginning of the body, not covered. [bytes]"""
    prefix: bytes = b""
    """Covered bytes that stand before the body: the start mark, or nothing."""
    case: HexCase = "upper"

    def text_of(self, body: bytes) -> bytes:
        """Return the body without its check; refuse it if the check is missing or does not fit."""
        function, digits = _FUNCTIONS[self.kind]
        at = len(body) - digits - len(self.mark)
        sent = body[-digits:]
        if at < self.skip_bytes or not body.startswith(self.mark, at):
            raise Refusal(
                WRONG_CHECK, f"wanted {self.mark!r} and {digits} digits at the end, got {shown(body[-8:])}"
            )
        text = body[:at]
        wanted = self._written(function(self.prefix + text[self.skip_bytes :]), digits)
        if (sent.upper() if self.case == "any" else sent) != wanted:
            raise Refusal(WRONG_CHECK, f"the bytes give {wanted!r}, the frame says {sent!r}")
        return text

    def _written(self, value: int, digits: int) -> bytes:
        digits_of = b"%0*x" if self.case == "lower" else b"%0*X"
        return digits_of % (digits, value)

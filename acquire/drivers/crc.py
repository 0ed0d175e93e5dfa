"""Cyclic redundancy checks of 16 bits, by the names of the open catalogue of CRC algorithms."""

from typing import Final, Literal, NamedTuple

CrcName = Literal[
    "crc16-arc",
    "crc16-ibm-3740",
    "crc16-ibm-sdlc",
    "crc16-kermit",
    "crc16-modbus",
    "crc16-usb",
    "crc16-xmodem",
]


class Crc16(NamedTuple):
    """The parameters of one algorithm."""

    polynomial: int
    initial: int
    """The register before the first byte."""
    reflected: bool
    """The lowest bit of each byte goes first, and the register runs to the right."""
    final: int
    """Combined with the register by exclusive or at the end."""


# Cook, G.: Catalogue of parametrised CRC algorithms, entries of 16 bits.
CRC16: Final[dict[CrcName, Crc16]] = {
    "crc16-arc": Crc16(0x8005, 0x0000, reflected=True, final=0x0000),
    "crc16-ibm-3740": Crc16(0x1021, 0xFFFF, reflected=False, final=0x0000),
    "crc16-ibm-sdlc": Crc16(0x1021, 0xFFFF, reflected=True, final=0xFFFF),
    "crc16-kermit": Crc16(0x1021, 0x0000, reflected=True, final=0x0000),
    "crc16-modbus": Crc16(0x8005, 0xFFFF, reflected=True, final=0x0000),
    "crc16-usb": Crc16(0x8005, 0xFFFF, reflected=True, final=0xFFFF),
    "crc16-xmodem": Crc16(0x1021, 0x0000, reflected=False, final=0x0000),
}


def crc16(data: bytes, name: CrcName) -> int:
    """Return the CRC of some bytes by the algorithm of that name."""
    parameters = CRC16[name]
    crc = parameters.initial
    if parameters.reflected:
        table = _REFLECTED[parameters.polynomial]
        for byte in data:
            crc = (crc >> 8) ^ table[(crc ^ byte) & 0xFF]
    else:
        table = _PLAIN[parameters.polynomial]
        for byte in data:
            crc = ((crc << 8) & 0xFFFF) ^ table[(crc >> 8) ^ byte]
    return crc ^ parameters.final


def _plain_entry(byte: int, polynomial: int) -> int:
    crc = byte << 8
    for _ in range(8):
        crc = ((crc << 1) ^ (polynomial if crc & 0x8000 else 0)) & 0xFFFF
    return crc


def _reflected_entry(byte: int, polynomial: int) -> int:
    backwards = int(f"{polynomial:016b}"[::-1], 2)
    for _ in range(8):
        byte = (byte >> 1) ^ (backwards if byte & 1 else 0)
    return byte


_POLYNOMIALS: Final = (0x1021, 0x8005)
_PLAIN: Final = {each: tuple(_plain_entry(byte, each) for byte in range(256)) for each in _POLYNOMIALS}
_REFLECTED: Final = {
    each: tuple(_reflected_entry(byte, each) for byte in range(256)) for each in _POLYNOMIALS
}

"""The bytes of a frame, for people: hexadecimal beside text, sixteen to a row."""

from dataclasses import dataclass
from typing import Final

ROW_BYTES: Final = 16  # [bytes]
_CONTROL_PICTURES: Final = 0x2400  # code point that shows NUL; those of 1 to 31 follow it


@dataclass(frozen=True, slots=True)
class HexRow:
    """One row of a dump."""

    offset: int
    """Of its first byte in the capture. [bytes]"""
    hexadecimal: str
    text: str


def hex_rows(data: bytes, offset: int) -> list[HexRow]:
    """Return the rows of a dump whose first byte lies at `offset` in its capture. [bytes]"""
    cuts = range(0, len(data), ROW_BYTES)
    rows = ((cut, data[cut : cut + ROW_BYTES]) for cut in cuts)
    return [HexRow(offset + cut, piece.hex(" "), visible_text(piece)) for cut, piece in rows]


def visible_text(data: bytes) -> str:
    """Return bytes as text that shows each: controls as their pictures, others than ASCII as a dot."""
    return "".join(_visible(byte) for byte in data)


def _visible(byte: int) -> str:
    if byte < 0x20:
        return chr(_CONTROL_PICTURES + byte)
    return chr(byte) if byte < 0x7F else "·"

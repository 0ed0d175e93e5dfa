"""The bytes of a frame, for people: hexadecimal beside text, sixteen to a row."""

from dataclasses import dataclass
from typing import Final

ROW_BYTES: Final = 16  # [bytes]


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
    """Return bytes as text of one sign each; what is no printable ASCII is a dot."""
    return "".join(chr(byte) if 0x20 <= byte < 0x7F else "·" for byte in data)

r"""Text of a driver file that stands for bytes: ``\r``, ``\n``, ``\t``, ``\f``, ``\0``, ``\\``, ``\xHH``."""

import re
from typing import Final, Literal

Encoding = Literal["ascii", "7bit", "utf-8", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
"""How an instrument's bytes become text. ``7bit`` is ASCII whose eighth bit is a parity bit; ``utf-16`` has a
byte order mark at the beginning, which says which of the other two it is."""

CODECS: Final[dict[Encoding, str]] = {
    "ascii": "ascii",
    "7bit": "ascii",
    "utf-8": "utf-8",
    "utf-16": "utf-16-le",  # of the texts of a driver file, until the mark came
    "utf-16-le": "utf-16-le",
    "utf-16-be": "utf-16-be",
    "cp1252": "cp1252",
}
UNIT_BYTES: Final[dict[Encoding, int]] = {"utf-16": 2, "utf-16-le": 2, "utf-16-be": 2}
"""Of a character's smallest part, where that is more than one byte. [bytes]"""

_SHORT: Final = {"r": "\r", "n": "\n", "t": "\t", "f": "\f", "0": "\0", "\\": "\\"}
_PIECES: Final = re.compile(r"\\x([0-9A-Fa-f]{2})|\\(.?)|([^\\]+)", re.DOTALL)


def bytes_of(text: str, encoding: Encoding) -> bytes:
    r"""Return the bytes that a text of a driver file stands for.

    Raises
    ------
    ValueError
        If an escape is unknown, or a character does not exist in the encoding.
    """
    return b"".join(_bytes_of_piece(piece, encoding) for piece in _PIECES.finditer(text))


def characters_of(text: str, encoding: Encoding) -> str:
    """Return the characters that the bytes of a text of a driver file are read as; errors as `bytes_of`."""
    return bytes_of(text, encoding).decode(CODECS[encoding])


def _bytes_of_piece(piece: re.Match[str], encoding: Encoding) -> bytes:
    code, short, plain = piece.groups()
    if code is not None:
        return bytes.fromhex(code)
    if plain is not None:
        return plain.encode(CODECS[encoding])
    if short not in _SHORT:
        raise ValueError(rf"\{short} is no escape; known are \r \n \t \f \0 \\ and \xHH with two hex digits")
    return _SHORT[short].encode(CODECS[encoding])

"""From the bytes of a frame to its characters: strict, and without anything that cannot be seen."""

from collections.abc import Iterable
from typing import Final
from unicodedata import category

from acquire.drivers.escapes import CODECS, Encoding
from acquire.drivers.refusal import Refusal
from acquire.reasons import NOT_TEXT

BYTE_ORDER_MARK: Final = "\ufeff"  # some programs begin a file with it; it means nothing in UTF-8
SEVEN_BITS: Final = bytes(byte & 0x7F for byte in range(256))
"""A table for `bytes.translate` that takes the parity bit away."""


class TextReader:
    """Decode frames in one declared encoding and refuse control characters that nobody declared."""

    def __init__(self, encoding: Encoding, filler: str = "", allowed: Iterable[str] = ()) -> None:
        """Take what is stripped from both ends, and the separators, which may be control characters."""
        self._codec = CODECS[encoding]
        self._filler = filler
        self._hidden = {ord(character): " " for text in allowed for character in text}

    def read(self, body: bytes) -> str:
        """Return the characters of a frame; refuse it if they are not all text."""
        try:
            text = body.decode(self._codec)
        except UnicodeDecodeError as error:
            raise Refusal(NOT_TEXT, self._undecodable(body, error.start)) from None
        if self._filler:
            text = text.strip(self._filler)
        return text if text.isprintable() else self._without_controls(text)

    def _without_controls(self, text: str) -> str:
        text = text.removeprefix(BYTE_ORDER_MARK)
        for at, character in enumerate(text.translate(self._hidden)):
            if category(character) == "Cc":
                raise Refusal(NOT_TEXT, f"control character 0x{ord(character):02X} at character {at + 1}")
        return text

    def _undecodable(self, body: bytes, at: int) -> str:
        return f"byte 0x{body[at]:02X} at byte {at + 1} of the frame is no text in {self._codec}"

"""From the bytes of a frame to its characters: strict, and without anything that cannot be seen."""

import re
from collections.abc import Iterable
from typing import Final
from unicodedata import category

from acquire.drivers.escapes import CODECS, Encoding
from acquire.drivers.refusal import Refusal
from acquire.reasons import NOT_TEXT

BYTE_ORDER_MARK: Final = "\ufeff"  # some programs begin a file with it; it means nothing in UTF-8
SEVEN_BITS: Final = bytes(byte & 0x7F for byte in range(256))
"""A table for `bytes.translate` that takes the parity bit away."""

# ECMA-48: control sequences, and the shorter escape sequences; each character is looked at once.
TERMINAL_CODE: Final = r"\x1b(?:\[[0-?]*+[ -/]*+[@-~]|[ -/]++[0-~]|[0-Z\\-~])"
_TERMINAL_CODES: Final = re.compile(f"(?:{TERMINAL_CODE})+")


class TextReader:
    """Decode frames in one declared encoding and refuse control characters that nobody declared."""

    def __init__(
        self,
        encoding: Encoding,
        filler: str = "",
        allowed: Iterable[str] = (),
        ignored: str = "",
        *,
        terminal_codes: bool = False,
    ) -> None:
        """Take what is declared to mean nothing, and the separators, which may be control characters.

        Parameters
        ----------
        encoding : Encoding
            Of the bytes.
        filler : str
            Characters that are stripped from both ends.
        allowed : iterable of str
            Texts between fields.
        ignored : str
            Characters that are taken out wherever they stand.
        terminal_codes : bool
            Whether terminal codes are taken out; inside a text each leaves a blank, so that nothing is
            joined that did not stand together.
        """
        self._codec = CODECS[encoding]
        self._filler = filler
        self._hidden = {ord(character): " " for text in allowed for character in text}
        self._ignored = dict.fromkeys(map(ord, ignored))
        self._terminal_codes = terminal_codes

    def read(self, body: bytes) -> str:
        """Return the characters of a frame; refuse it if they are not all text."""
        try:
            text = body.decode(self._codec)
        except UnicodeDecodeError as error:
            raise Refusal(NOT_TEXT, self._undecodable(body, error.start)) from None
        if self._filler:
            text = text.strip(self._filler)
        return text if text.isprintable() else self._without_controls(text)

    def read_loosely(self, body: bytes) -> str:
        """Return the characters of a frame as far as they are any, to see how it begins."""
        text = body.decode(self._codec, "replace").removeprefix(BYTE_ORDER_MARK)
        return self._without_declared(text).lstrip()

    def _without_declared(self, text: str) -> str:
        if self._ignored:
            text = text.translate(self._ignored)
        if self._terminal_codes and "\x1b" in text:
            text = _TERMINAL_CODES.sub(_blank_if_inside, text)
        return text

    def _without_controls(self, text: str) -> str:
        text = self._without_declared(text.removeprefix(BYTE_ORDER_MARK))
        for at, character in enumerate(text.translate(self._hidden)):
            if category(character) == "Cc":
                raise Refusal(NOT_TEXT, f"control character 0x{ord(character):02X} at character {at + 1}")
        return text

    def _undecodable(self, body: bytes, at: int) -> str:
        return f"byte 0x{body[at]:02X} at byte {at + 1} of the frame is no text in {self._codec}"


def _blank_if_inside(code: re.Match[str]) -> str:
    return " " if code.start() and code.end() < len(code.string) else ""

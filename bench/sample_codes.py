"""Codes for samples: short, said and typed without mistakes, left alone by spreadsheets.

A code such as ``CK4H7M`` has no vowel (so it spells no month and no word), no E between digits (no exponent),
begins with two letters (no number, no date, no leading zero), and has none of the signs that look alike on a
wet label. Its last letter is a check: one wrong sign, or two swapped, is noticed.
"""

from itertools import cycle
from typing import Final

LETTERS: Final = "CDFGHJKMNPQRTVWXY"
"""Seventeen, a prime: the check letter finds every single wrong sign."""
DIGITS: Final = "34679"
_BODY: Final = 5
_STRIDE: Final = 0.618
"""Share of all codes between two neighbours, so that samples of one day do not look alike."""


def _signs(length: int) -> list[str]:
    """Return which signs may stand at each place: two letters, then a digit and a letter in turn."""
    alternating = cycle((DIGITS, LETTERS))
    return [LETTERS, LETTERS, *(next(alternating) for _ in range(length - 2))]


def _how_many(length: int) -> int:
    number = 1
    for signs in _signs(length):
        number *= len(signs)
    return number


def code(index: int) -> str:
    """Return the code of the sample with a running number from 0 on: different numbers, different codes.

    Raises `ValueError` for a number below 0.
    """
    if index < 0:
        raise ValueError(f"samples are counted from 0, {index} came")
    length = _BODY
    while index >= _how_many(length):
        index -= _how_many(length)
        length += 2
    number = _how_many(length)
    body = _written(index * _coprime_step(number) % number, length)
    return body + check_letter(body)


def _coprime_step(number: int) -> int:
    """Return a step that visits each of `number` places once; they are products of 5 and 17 alone."""
    step = int(number * _STRIDE)
    while step % len(DIGITS) == 0 or step % len(LETTERS) == 0:
        step += 1
    return step


def _written(place: int, length: int) -> str:
    body = ""
    for signs in _signs(length):
        place, which = divmod(place, len(signs))
        body += signs[which]
    return body


def check_letter(body: str) -> str:
    """Return the letter that ends a code, from the signs before it."""
    total = sum(weight * _rank(sign) for weight, sign in enumerate(body, start=2))
    return LETTERS[total % len(LETTERS)]


def _rank(sign: str) -> int:
    return LETTERS.index(sign) if sign in LETTERS else DIGITS.index(sign)


def is_code(text: str) -> bool:
    """Tell whether text is one of our codes with the right check letter."""
    length = len(text) - 1
    if length < _BODY or (length - _BODY) % 2:
        return False
    fits = all(sign in signs for sign, signs in zip(text, _signs(length), strict=False))
    return fits and text[-1] in LETTERS and check_letter(text[:-1]) == text[-1]

r"""From the text of a value to its answer: a declared token, a number, or a bound with a range mark.

The grammar of a number, with the marks that a driver file declares::

    number   = [sign] digits [decimal digits] [exponent]
    digits   = 1*18DIGIT / 1*3DIGIT 1*(thousands 3DIGIT)
    exponent = ("e" / "E") [sign] 1*2DIGIT          only where declared
    sign     = "+" / "-" / "\u2212"                 followed by blanks only where declared
    bound    = range-mark *blank number
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from acquire.drivers.refusal import Refusal, shown
from acquire.events import Outcome
from acquire.reasons import NOT_A_NUMBER

MINUS_SIGN: Final = "\u2212"  # the minus of typesetters, which some displays send

Answer = tuple[Outcome, Decimal | None]


@dataclass(frozen=True, slots=True)
class Spelling:
    """How an instrument writes numbers."""

    decimal: str = "."
    thousands: str = ""
    """Empty if there is none."""
    exponent: bool = False
    sign_apart: bool = False
    """A sign may stand apart from its digits."""
    bare_point: bool = False
    """Digits may be missing on one side of the decimal mark."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What an instrument may say in place of a number, or before one."""

    tokens: Mapping[str, Outcome] = field(default_factory=dict)
    """Whole texts, such as ``----``."""
    range_marks: Mapping[str, Outcome] = field(default_factory=dict)
    """Stand before a bound, such as ``>``."""


class AnswerReader:
    """Read the values of one instrument; only ASCII digits are digits, and nothing is ever guessed."""

    def __init__(self, spelling: Spelling, answers: Answers) -> None:
        number = number_pattern(spelling)
        marks = "|".join(re.escape(mark) for mark in sorted(answers.range_marks, key=len, reverse=True))
        bound = rf"(?:({marks})[ \t]*+)?" if marks else "()"
        self._whole = re.compile(number).fullmatch
        self._bounded = re.compile(f"{bound}({number})")
        self._tokens = dict(answers.tokens)
        self._range_marks = dict(answers.range_marks)
        self._respellings = _respellings(spelling)
        self._is_plain = not self._respellings  # digits of ASCII are what `Decimal` takes as they are

    def read(self, text: str) -> Answer:
        """Return outcome and number of a value's text; refuse what is neither token, number nor bound."""
        if text in self._tokens:
            return self._tokens[text], None
        if self._whole(text):
            return Outcome.VALUE, self._decimal(text)
        return self._read_bound(text)

    def read_marked(self, mark: str, text: str) -> Answer:
        """Return the answer of a number whose mark, or a token in place of one, stands in another field."""
        outcome = self._tokens.get(mark)
        if outcome is not None:
            return outcome, None
        bound = self._range_marks.get(mark)
        if bound is None or not self._whole(text):
            raise Refusal(NOT_A_NUMBER, f"{shown(mark)} and {shown(text)} are no range mark with its number")
        return bound, self._decimal(text)

    def split(self, text: str) -> tuple[str, str]:
        """Return a token, number or bound and what is written after it, such as a unit; blanks between go."""
        match = None if text in self._tokens else self._bounded.match(text)
        if match is not None:
            return text[: match.end()], text[match.end() :].strip()
        head, _, tail = text.rpartition(" ")
        return (head.rstrip(), tail) if head.rstrip() in self._tokens else (text, "")

    def _read_bound(self, text: str) -> Answer:
        match = self._bounded.fullmatch(text)
        if match is None:
            raise Refusal(NOT_A_NUMBER, f"{shown(text)} is neither a number nor a token of the driver file")
        return self._range_marks[match[1]], self._decimal(match[2])

    def _decimal(self, text: str) -> Decimal:
        if self._is_plain and text.isascii():
            return Decimal(text)
        for old, new in self._respellings:
            text = text.replace(old, new)
        return Decimal(text.replace(MINUS_SIGN, "-"))


def number_pattern(spelling: Spelling) -> str:
    """Return the pattern of a number; each character of a text is looked at a bounded number of times."""
    sign = f"[+\\-{MINUS_SIGN}]?" + ("[ ]{0,8}" if spelling.sign_apart else "")
    digits = "[0-9]{1,18}"
    if spelling.thousands:
        digits = f"(?:[0-9]{{1,3}}(?:{re.escape(spelling.thousands)}[0-9]{{3}}){{1,5}}|{digits})"
    mark = re.escape(spelling.decimal)
    fraction = f"{digits}(?:{mark}[0-9]{{1,18}})?"
    if spelling.bare_point:
        fraction = f"(?:{digits}(?:{mark}[0-9]{{0,18}})?|{mark}[0-9]{{1,18}})"
    exponent = r"(?:[eE][+\-]?[0-9]{1,2})?" if spelling.exponent else ""
    return sign + fraction + exponent


def _respellings(spelling: Spelling) -> tuple[tuple[str, str], ...]:
    """Return what is put for what, in order, to get the spelling of `Decimal`."""
    blanks = [(" ", "")] if spelling.sign_apart else []
    thousands = [(spelling.thousands, "")] if spelling.thousands else []
    decimal = [(spelling.decimal, ".")] if spelling.decimal != "." else []
    return (*blanks, *thousands, *decimal)

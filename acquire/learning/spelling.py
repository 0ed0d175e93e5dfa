"""How an instrument spells its numbers, and what else stands in a field beside a number."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from acquire.drivers.numbers import Spelling, number_pattern
from acquire.learning.report import Claim, Question, succession

_NUMBER: Final = re.compile(
    r"(?P<mark>[<>≤≥=]{0,2})[ ]*(?P<sign>[+\-−]?)(?P<gap>[ ]{0,8})"
    r"(?P<body>[0-9]{1,3}(?:[ '’\u00a0\u202f][0-9]{3})+(?:[.,][0-9]+)?|[0-9][0-9.,'’]*|[.,][0-9]+)"
    r"(?P<exponent>[eE][+\-]?[0-9]{1,2}(?![0-9A-Za-z]))?"
)
_GROUPED: Final = re.compile(r"[0-9]{1,3}(?:[.,' ’\u00a0\u202f][0-9]{3})+")
_LETTERS: Final = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ!?&%$()[]*:"
MOST_LENGTH: Final = 200  # of a text that is looked at [characters]


class Parts(NamedTuple):
    """A text taken apart: a mark such as ``<``, a number, and what stands behind it."""

    mark: str
    number: str
    rest: str


PLAIN: Final = Spelling()
"""A decimal point and nothing else."""


@dataclass(frozen=True, slots=True)
class NumberReader:
    """Reads numbers as one instrument spells them."""

    spelling: Spelling = PLAIN
    letters: str = ""
    """Stand glued before a number, and mean nothing for its value."""

    def with_mark(self, letters: str) -> "NumberReader":
        """Return a reader for fields in which letters stand before each number."""
        return NumberReader(self.spelling, letters)

    def parts(self, text: str) -> Parts | None:
        """Return the parts of a text that begins with a number, perhaps behind a range mark; else None."""
        glued = self.letters if self.letters and text.startswith(self.letters) else ""
        match = _compiled(self.spelling).match(text, len(glued))
        if match is None or (glued and match[1]):
            return None
        rest = text[match.end() :]
        if rest[:1].isdigit() or (rest[:1] in (".", ",", "-", ":", "/") and rest[1:2].isdigit()):
            return None  # a date, a version, an id: no number that ends here
        return Parts(glued or match[1], match[2], rest.strip())

    def is_number(self, text: str) -> bool:
        """Tell whether a text is a number and nothing else."""
        found = self.parts(text)
        return found is not None and not found.rest


_PATTERNS: dict[Spelling, re.Pattern[str]] = {}


def _compiled(spelling: Spelling) -> re.Pattern[str]:
    if spelling not in _PATTERNS:
        _PATTERNS[spelling] = re.compile(rf"([<>≤≥=]{{0,2}})[ ]*({number_pattern(spelling)})")
    return _PATTERNS[spelling]


def spelling_of(texts: Iterable[str], separator: str = "") -> tuple[Spelling, bool, Claim]:
    """Judge how numbers are spelt in some fields.

    Parameters
    ----------
    texts : iterable of str
        Of fields that may hold numbers.
    separator : str
        What stands between the fields and so cannot stand in a number.

    Returns
    -------
    Spelling
        The likeliest one.
    bool
        Whether nothing but three digits ever stood behind the mark, so that it may part thousands.
    Claim
        What was seen.
    """
    votes: Counter[tuple[str, str]] = Counter()
    unclear: Counter[str] = Counter()
    exponent = sign_apart = bare_point = False
    looked_at = 0
    for text in texts:
        match = _NUMBER.match(text[:MOST_LENGTH].lstrip(_LETTERS))
        if match is None:
            continue
        looked_at += 1
        exponent |= match["exponent"] is not None
        sign_apart |= bool(match["sign"] and match["gap"])
        body = match["body"]
        bare_point |= body[0] in ".," or body[-1] in ".,"
        _vote(body, votes, unclear)
    decimal = _decimal_of(votes, unclear, separator)
    thousands = _thousands_of(votes, decimal, separator)
    spelling = Spelling(decimal, thousands, exponent, sign_apart, bare_point)
    clear = sum(count for (mark, _), count in votes.items() if mark == decimal)
    against = sum(count for (mark, _), count in votes.items() if mark and mark != decimal)
    open_question = bool(not clear and unclear[decimal] and decimal == ",")
    because = f"{clear} of {looked_at} numbers show it, {against} speak against it"
    sure = 0.6 if open_question else succession(clear, clear + against) if clear + against else 0.9
    return spelling, open_question, Claim("numbers", _in_words(spelling), sure, because)


def _vote(body: str, votes: Counter[tuple[str, str]], unclear: Counter[str]) -> None:
    """Vote for (decimal mark, thousands mark); an empty mark says nothing."""
    marks = [character for character in body if not character.isdigit()]
    if not marks:
        return
    last, others = marks[-1], set(marks[:-1])
    before, _, behind = body.rpartition(last)
    if last in ".," and others == set():
        if len(behind) != 3 or len(before) > 3 or before in ("", "0"):
            votes[last, ""] += 1
        else:
            unclear[last] += 1
    elif last in ".," and len(others) == 1 and last not in others and _GROUPED.fullmatch(before):
        votes[last, others.pop()] += 1
    elif _GROUPED.fullmatch(body) and len(set(marks)) == 1:
        votes["", last] += 1


def _decimal_of(votes: Counter[tuple[str, str]], unclear: Counter[str], separator: str) -> str:
    weight = {mark: sum(n for (decimal, _), n in votes.items() if decimal == mark) for mark in ".,"}
    for (_, thousands), count in votes.items():
        if thousands in (".", ","):
            weight["," if thousands == "." else "."] += count
    if separator.strip() == ",":
        return "."
    if weight["."] == weight[","]:
        return "," if unclear[","] > unclear["."] else "."
    return max(weight, key=lambda mark: weight[mark])


def _thousands_of(votes: Counter[tuple[str, str]], decimal: str, separator: str) -> str:
    found: Counter[str] = Counter()
    for (_, thousands), count in votes.items():
        if thousands and thousands not in (decimal, separator):
            found[thousands] += count
    return found.most_common(1)[0][0] if found else ""


def _in_words(spelling: Spelling) -> str:
    said = [f"decimal mark {spelling.decimal!r}"]
    if spelling.thousands:
        said.append(f"thousands mark {spelling.thousands!r}")
    said += [
        words
        for words, holds in (
            ("exponents", spelling.exponent),
            ("signs apart from their digits", spelling.sign_apart),
            ("digits on one side of the mark only", spelling.bare_point),
        )
        if holds
    ]
    return ", ".join(said)


def decimal_question(decimal: str, texts: Sequence[str]) -> Question:
    """Ask what a mark means behind which three digits stand each time."""
    return Question(
        "decimal",
        f"is {decimal!r} the decimal mark, or does it part thousands?",
        tuple(texts[:3]),
        f"{decimal!r} is read as the decimal mark",
        (",", "."),
    )

"""Times of an instrument: in which form it writes them."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Final

from acquire.drivers.refusal import Refusal
from acquire.drivers.times import TimeForm
from acquire.learning.report import Question

LEAST_SHARE: Final = 0.95  # of the texts that must be times of one form, the empty ones apart
LOOKED_AT: Final = 400  # texts of a field
MOST_LENGTH: Final = 40  # of a time [characters]

_MONTH: Final = (
    r"jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sep(?:tember)?|oct(?:ober)?|"
    r"nov(?:ember)?|dec(?:ember)?"
)
_RUNS: Final = re.compile(
    rf"([0-9]+|(?<![a-z])(?:{_MONTH})(?![a-z])|(?<![a-z])[ap]m(?![a-z]))", re.IGNORECASE
)
_LABEL: Final = re.compile(
    r"date|time(?!out)|zeit|datum|uhr|hour|hora|heure|fecha|\bdt\b|stamp|clock|printed|measured|\bat\b",
    re.IGNORECASE,
)
_DATES: Final = ("YMD", "DMY", "MDY")
_CLOCKS: Final = ("hms", "hm", "hmsf")
_COMPACT: Final = {14: ("YYYYMMDDhhmmss",), 12: ("YYYYMMDDhhmm", "YYMMDDhhmmss"), 8: ("YYYYMMDD", "DDMMYYYY")}
"""Forms without a mark, by their length. Those of 12 and 14 digits are taken for times wherever they fit."""
_SHORT: Final = {6: ("hhmmss", "YYMMDD", "DDMMYY"), 4: ("hhmm",)}
"""More such forms, which many a number fits: taken only where a label says that a time is meant."""
_LETTERS: Final = {
    "Y": {4: "YYYY", 2: "YY", 1: "YY"},
    "M": {2: "MM", 1: "M"},
    "D": {2: "DD", 1: "D"},
    "h": {2: "hh", 1: "h"},
    "m": {2: "mm", 1: "mm"},
    "s": {2: "ss", 1: "ss"},
}


@dataclass(frozen=True, slots=True)
class TimeGuess:
    """A form that the texts of a field have."""

    form: str
    has_date: bool
    has_time: bool
    other: str = ""
    """The form that fits as well, if the order of day and month cannot be told."""


def is_time_label(label: str) -> bool:
    """Tell whether a label usually stands at a time."""
    return _LABEL.search(label.replace("_", " ")) is not None


def time_form_of(texts: Sequence[str], label: str = "", *, month_first: bool = False) -> TimeGuess | None:
    """Return the form in which nearly all texts are times; None if there is none.

    Parameters
    ----------
    texts : sequence of str
        Of one field; empty ones are left out.
    label : str
        Of the field, where it has one.
    month_first : bool
        Somebody said that the month stands before the day, where both orders fit.
    """
    said = [text for text in texts if text][:LOOKED_AT]
    if not said or any(len(text) > MOST_LENGTH for text in said):
        return None
    fitting = [form for form in _forms(said, labelled=is_time_label(label)) if _fits(form, said)]
    if not fitting or (not is_time_label(label) and _may_be_something_else(fitting[0], said)):
        return None
    best = fitting[0]
    other = next((form for form in fitting[1:] if _is_swapped(form, best) and "." not in form), "")
    if other and month_first:
        best, other = other, best
    read = TimeForm(best)
    return TimeGuess(best, read.has_date, read.has_time, other)


def order_question(key: str, guess: TimeGuess, texts: Sequence[str]) -> Question:
    """Ask whether day or month comes first."""
    return Question(
        "dates",
        f"does the day or the month come first in {key}?",
        tuple(dict.fromkeys(texts))[:3],
        f"it is read as {guess.form}",
        ("day-first", "month-first"),
    )


def _forms(texts: Sequence[str], *, labelled: bool) -> Iterator[str]:
    """Yield the forms that the first text could have, the likeliest first."""
    if texts[0].isdigit():
        compact = _COMPACT | _SHORT if labelled else {size: _COMPACT[size] for size in (14, 12)}
        yield from compact.get(len(texts[0]), ())
        return
    pieces = _RUNS.split(texts[0])
    runs, marks = pieces[1::2], pieces[::2]
    if not 2 <= len(runs) <= 8 or any(character.isdigit() for mark in marks for character in mark):
        return
    lengths = [_shortest(texts, at) for at in range(len(runs))]
    longest = max((len(run) for text in texts for run in _RUNS.findall(text) if run[:1].isalpha()), default=0)
    half = runs[-1].lower() in ("am", "pm")
    clocks = [clock + "A" for clock in _CLOCKS] if half else list(_CLOCKS)
    if any(character.isalpha() for character in marks[0] + marks[-1].upper().replace("Z", "")):
        return
    year_first = len(runs[0]) == 4 or "-" in marks[1]
    dates = _DATES if year_first else (*_DATES[1:], _DATES[0])
    orders = [*dates, *clocks]
    orders += [date + clock for date, clock in product(dates, clocks)]
    orders += [clock + date for date, clock in product(dates, _CLOCKS)]
    for order in orders:
        if len(order) == len(runs):
            letters = _letters_of(order, runs, lengths, longest)
            if letters:
                yield "".join(_quoted(mark) + part for mark, part in zip(marks, [*letters, ""], strict=True))


def _may_be_something_else(form: str, texts: Sequence[str]) -> bool:
    """Tell whether a form also fits what is no time: a number, a version that never changes."""
    if "YYYY" in form or "MMM" in form or ":" in form or "AP" in form or form.isalpha():
        return False
    return (form.count("h") + form.count("m") > 0 and "s" not in form) or len(set(texts)) < min(3, len(texts))


def _letters_of(order: str, runs: Sequence[str], lengths: Sequence[int], longest: int) -> list[str]:
    """Return the letters of a form part by part; empty if the runs cannot be those parts.

    The name of a month is written whole if the longest one has more than three letters.
    """
    letters = []
    for part, run, length in zip(order, runs, lengths, strict=True):
        if part == "A":
            letter = "AP"
        elif part == "f":
            letter = "f" if run.isdigit() else ""
        elif part == "M" and not run.isdigit():
            letter = "MMM" if longest == 3 else "MMMM"
        elif not run.isdigit():
            letter = ""
        else:
            letter = _LETTERS[part].get(length, "")
        if not letter:
            return []
        letters.append(letter)
    return letters


def _shortest(texts: Sequence[str], at: int) -> int:
    """Return the least length of a run in all texts, as if it had one digit if no zero ever stands in front.

    The form of one or two digits reads both, and only a zero shows that ones are filled up.
    """
    found = [runs[at] for runs in map(_RUNS.findall, texts) if at < len(runs)]
    least = min(map(len, found))
    return 1 if least == 2 and not any(run.startswith("0") for run in found) else least


def _quoted(mark: str) -> str:
    return f"'{mark}'" if any(character.isalpha() for character in mark) else mark


def _fits(form: str, texts: Sequence[str]) -> bool:
    try:
        read = _reader(form)
    except ValueError:
        return False
    return sum(_is_time(read, text) for text in texts) >= LEAST_SHARE * len(texts)


def _is_time(read: TimeForm, text: str) -> bool:
    try:
        read.read(text)
    except Refusal:
        return False
    return True


def _is_swapped(form: str, other: str) -> bool:
    """Tell whether two forms differ in the order of day and month alone."""
    one_digit = [each.replace("DD", "D").replace("MM", "M") for each in (form, other)]
    return "MMM" not in form and one_digit[0] == one_digit[1].translate(str.maketrans("DM", "MD"))


@lru_cache(maxsize=512)
def _reader(form: str) -> TimeForm:
    return TimeForm(form)

"""The texts of one field over many messages, and what they are by themselves."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from dataclasses import field as made
from typing import Final, Literal

from acquire.learning.answers import Answers
from acquire.learning.moments import TimeGuess, time_form_of
from acquire.learning.spelling import NumberReader, Parts
from acquire.learning.words import UNIT_SPELLINGS, outcome_of_word
from evaluate.units import UnitError, unit_from_text

Nature = Literal["empty", "time", "numbers", "units", "marks", "constant", "words"]

MARKS: Final = frozenset({"<", ">", "=", "≤", "≥", "<=", ">="})
SIGNS: Final = frozenset("+-−")
LOOKED_AT: Final = 2000  # texts of a field
_GLUED: Final = re.compile(r"([A-Za-z]{1,3})[+\-]?[0-9]+[.,][0-9]+(?![0-9.,:/-])")
LONGEST_UNIT: Final = 12  # [characters]
FEW: Final = 6  # different texts that stand in place of numbers


@dataclass(frozen=True, slots=True)
class FieldTexts:
    """One field: how it is called, and its texts in the order of the messages."""

    key: str
    """By which it is asked and answered for."""
    label: str
    """What stands before it or over it, for its meaning; empty if nothing does."""
    texts: tuple[str | None, ...]
    """Stripped; None where the field is missing."""
    unit_hint: str = ""
    """A unit that stands over it."""

    @property
    def said(self) -> list[str]:
        """The texts that are there and not empty."""
        return [text for text in self.texts if text][:LOOKED_AT]


@dataclass(slots=True)
class Study:
    """What is known of one field."""

    field: FieldTexts
    nature: Nature = "empty"
    time: TimeGuess | None = None
    parts: list[Parts] = made(default_factory=list)
    """Of the texts that begin with a number."""
    letters: str = ""
    """Glued before each number."""
    others: Counter[str] = made(default_factory=Counter)
    """Texts in place of numbers, the empty one too."""

    @property
    def distinct(self) -> int:
        """How many different texts there are."""
        return len(set(self.field.said))


def study(one: FieldTexts, reader: NumberReader, answers: Answers) -> Study:
    """Return what the texts of a field are by themselves."""
    found = Study(one)
    said = one.said
    if not said:
        return found
    reader = _with_glued_letters(said, reader)
    found.letters = reader.letters
    found.time = time_form_of(said, one.label, month_first=answers.month_first)
    if found.time is not None:
        found.nature = "time"
        return found
    _take_apart(found, reader)
    if set(said) <= MARKS:
        found.nature = "marks"
    elif _are_numbers(found, answers):
        found.nature = "numbers"
    elif _are_units(said, answers):
        found.nature = "units"
    else:
        found.nature = "constant" if found.distinct == 1 else "words"
    return found


def unit_code(text: str, answers: Answers) -> str | None:
    """Return the code of a unit as it is written; None if nobody knows it."""
    said = answers.unit_of(text)
    if said is not None:
        return said
    bare = text.strip("[]() ")
    known = UNIT_SPELLINGS.get(bare.casefold())
    if known is not None:
        return known
    try:
        return unit_from_text(bare).code if bare else None
    except UnitError:
        return None


def outcome_of(text: str, answers: Answers) -> object:
    """Return what a text in place of a number means; None if nobody knows."""
    return answers.outcome_of("token", text) or outcome_of_word(text)


def _with_glued_letters(said: Sequence[str], reader: NumberReader) -> NumberReader:
    """Return a reader that takes letters for a mark if they stand before the number in nearly every text."""
    begins = Counter(match[1] for text in said if (match := _GLUED.match(text)))
    if not begins:
        return reader
    letters, count = begins.most_common(1)[0]
    numbers = sum(any(map(str.isdigit, text)) for text in said)
    return reader.with_mark(letters) if count >= 0.97 * numbers and count >= 0.5 * len(said) else reader


def _are_units(said: Sequence[str], answers: Answers) -> bool:
    """Tell whether texts are units, most of them known and the others as short."""
    if len(set(said)) > FEW or any(len(text) > LONGEST_UNIT or text[:1].isdigit() for text in set(said)):
        return False
    known = sum(unit_code(text, answers) is not None for text in said)
    different = {unit_code(text, answers) for text in set(said)} - {None}
    enough = known >= 0.6 * len(said) or (len(different) > 1 and known >= 0.2 * len(said))
    return known == len(said) or (enough and all(text[-1].isalpha() for text in set(said)))


def _take_apart(found: Study, reader: NumberReader) -> None:
    for text in found.field.texts[:LOOKED_AT]:
        if text is None:
            continue
        parts = reader.parts(text)
        if parts is None:
            found.others[text] += 1
        else:
            found.parts.append(parts)


def _are_numbers(found: Study, answers: Answers) -> bool:
    numbers = len(found.parts)
    words = Counter({text: count for text, count in found.others.items() if text})
    if not numbers or _are_ids(found, answers):
        return False
    known = sum(count for text, count in words.items() if outcome_of(text, answers) is not None)
    unknown = sum(words.values()) - known
    return len(words) <= FEW and numbers + known >= 0.8 * (numbers + known + unknown) and numbers > unknown


def _are_ids(found: Study, answers: Answers) -> bool:
    """Tell whether letters stand behind whole numbers that are no unit, as in ``12A``."""
    behind = {parts.rest for parts in found.parts if parts.rest}
    if not behind:
        return False
    whole = all(parts.number.isdigit() for parts in found.parts)
    if len(behind) == 1 and all(len(rest) > 1 for rest in behind):
        return False
    return len(behind) > FEW or (whole and not any(unit_code(rest.split(" ")[0], answers) for rest in behind))

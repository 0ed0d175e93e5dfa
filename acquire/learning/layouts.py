"""A layout in the making: records of guessed fields, and the tables of a driver file that they give."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from acquire.drivers.numbers import Spelling
from acquire.learning.guess import Guess
from acquire.learning.report import Claim, Question
from acquire.learning.vocabulary import Vocabulary

LayoutKind = Literal["delimited", "fixed", "labelled"]


@dataclass(slots=True)
class FieldDraft:
    """A field with what says where it is."""

    place: dict[str, Any]
    """``label`` or ``at``; empty for a column that counts by its order."""
    guess: Guess

    def table(self, *, stand_in: bool) -> dict[str, Any]:
        """Return the field as a driver file has it."""
        use = self.guess.stand_in if stand_in and self.guess.stand_in is not None else self.guess.table
        required = {key: value for key, value in self.place.items() if key == "required"}
        place = {key: value for key, value in self.place.items() if key != "required"}
        return {**place, **use, **required}


@dataclass(slots=True)
class LayoutDraft:
    """What stands where in the text of a frame."""

    kind: LayoutKind
    table: dict[str, Any]
    """Of the layout, without its records or fields."""
    records: list[list[FieldDraft]]
    spelling: Spelling
    words: Vocabulary
    explained: float
    """Share of the characters of its frames that mean something to it."""
    claims: list[Claim] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    ignore_lines: list[str] = field(default_factory=list)
    """How lines begin that carry nothing."""
    drops_unread: bool = False
    """Fields that are not read need not be named."""

    @property
    def guesses(self) -> list[Guess]:
        """Every field."""
        return [one.guess for record in self.records for one in record]

    def all_claims(self) -> list[Claim]:
        """Return what is claimed of the layout and of every field."""
        return [*self.claims, *(one for guess in self.guesses for one in guess.claims), *self.words.claims]

    def all_questions(self) -> list[Question]:
        """Return every question once."""
        asked = [
            *self.questions,
            *(one for guess in self.guesses for one in guess.questions),
            *self.words.questions,
        ]
        return list({question.key: question for question in asked}.values())

    def tables(self, *, stand_in: bool = False) -> dict[str, Any]:
        """Return the tables of the driver file, with stand-ins for unknown quantities if wanted."""
        tables: dict[str, Any] = {}
        numbers = _numbers_table(self.spelling)
        if numbers:
            tables["numbers"] = numbers
        tables |= self.words.tables()
        records = [self._fields(record, stand_in=stand_in) for record in self.records]
        if self.kind == "labelled":
            tables["labelled"] = {**self.table, "fields": records[0]}
        else:
            tables[self.kind] = {**self.table, "records": [{"columns": fields} for fields in records]}
        return tables

    def _fields(self, record: Sequence[FieldDraft], *, stand_in: bool) -> list[dict[str, Any]]:
        fields = [one.table(stand_in=stand_in) for one in record]
        if self.drops_unread:
            return [one for one in fields if one["kind"] != "ignore"]
        return fields


def _numbers_table(spelling: Spelling) -> dict[str, Any]:
    table: dict[str, Any] = {}
    if spelling.decimal != ".":
        table["decimal"] = spelling.decimal
    if spelling.thousands:
        table["thousands"] = spelling.thousands
    for key in ("exponent", "sign_apart", "bare_point"):
        if getattr(spelling, key):
            table[key] = True
    return table


def letters_in(text: str) -> int:
    """Return how many letters and digits are in a text; all else says little."""
    return sum(map(str.isalnum, text))


def explained_share(texts: Sequence[Sequence[str | None]], guesses: Sequence[Guess]) -> float:
    """Return the share of the characters of some fields that means something.

    Parameters
    ----------
    texts : sequence of sequences of str
        For each field its texts.
    guesses : sequence of Guess
        What each field is taken for.
    """
    lengths = [sum(letters_in(text) for text in column if text) for column in texts]
    meant = sum(length * guess.weight for length, guess in zip(lengths, guesses, strict=True))
    return meant / (sum(lengths) or 1)

"""What all records of a driver file share: tokens, range marks, spellings of units, and claims about them."""

from collections.abc import Iterable
from typing import Any

from acquire.events import Outcome
from acquire.learning.answers import Answers
from acquire.learning.report import Claim, Question
from acquire.learning.texts import unit_code
from acquire.learning.words import outcome_of_word
from evaluate.units import UnitError, unit_from_text

_MARK_TABLE = {
    ">": "above",
    "≥": "above",
    ">=": "above",
    "<": "below",
    "≤": "below",
    "<=": "below",
    "=": "exact",
}


class Vocabulary:
    """Gathers words while fields are looked at."""

    def __init__(self, answers: Answers) -> None:
        self.answers = answers
        self.claims: list[Claim] = []
        self.questions: list[Question] = []
        self._tokens: dict[str, Outcome] = dict(answers.tokens())
        self._marks: set[str] = set()
        self._units: dict[str, str] = {}
        self._parted: dict[str, str] = {}

    def take_token(
        self, text: str, count: int, where: str, units: Iterable[str] = (), letters: str = ""
    ) -> bool:
        """Take a text that stands in place of a number, perhaps with a unit or letters glued to it.

        Tell whether its meaning is known.
        """
        if text in self._tokens:
            return True
        said = self.answers.outcome_of("token", text)
        bare = text.removeprefix(letters)
        bare = next((bare.removesuffix(one).rstrip() for one in units if one and bare.endswith(one)), bare)
        outcome = Outcome.NO_VALUE if said is None and not text else said or outcome_of_word(bare)
        if outcome is None:
            self.ask_outcome("token", text, count, where)
            return False
        self._tokens[text] = outcome
        because = "somebody said so" if said else f"{count} times in place of a number in {where}"
        self.claims.append(
            Claim(f"token {text!r}", outcome.value, 1.0 if said else 0.8, because, is_guess=said is None)
        )
        return True

    def ask_outcome(self, kind: str, text: str, count: int, where: str) -> None:
        """Ask what a token or a status code means."""
        key = f"{kind} {text}"
        if any(question.key == key for question in self.questions):
            return
        asks = f"what does {text!r} in {where} mean? It came {count} times"
        meanwhile = "messages with it are refused"
        self.questions.append(Question(key, asks, (text,), meanwhile, tuple(Outcome)))

    def take_marks(self, marks: Iterable[str]) -> None:
        """Take marks that stand before numbers."""
        self._marks |= set(marks)

    def take_parted_unit(self, text: str, code: str) -> None:
        """Take the half of a unit that the separator leaves; it counts before all other meanings."""
        self._units[text] = code
        self._parted[text] = code

    def code_of_unit(self, text: str) -> str | None:
        """Return the code of a unit as this instrument writes it; None if nobody knows."""
        return self._parted.get(text) or unit_code(text, self.answers)

    def take_unit(self, text: str, code: str) -> None:
        """Take a spelling that the registry of units does not know, or knows as another unit."""
        try:
            if unit_from_text(text).code == code:
                return
        except UnitError:
            pass
        self._units[text] = code

    def tables(self) -> dict[str, Any]:
        """Return the tables of the driver file."""
        tokens: dict[str, list[str]] = {}
        for text, outcome in self._tokens.items():
            tokens.setdefault(outcome.value, []).append(text)
        marks: dict[str, list[str]] = {}
        for mark in sorted(self._marks):
            marks.setdefault(_MARK_TABLE.get(mark, "exact"), []).append(mark)
        tables: dict[str, Any] = {"tokens": tokens, "range_marks": marks, "units": self._units}
        return {name: table for name, table in tables.items() if table}

"""What a person said to the learner's questions: ``FIELD=QUANTITY:UNIT`` and its like."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from acquire.errors import AcquireError
from acquire.events import Outcome
from evaluate.units import UnitError, fits, quantities, quantity, unit, unit_from_text

ROLES: Final = ("ignore", "sample", "sequence", "mode")
"""What a field can be said to be, beside a quantity."""


class AnswerError(AcquireError):
    """An answer cannot be meant; `key` names the question."""

    def __init__(self, key: str, text: str) -> None:
        self.key = key
        super().__init__(text)


@dataclass(frozen=True, slots=True)
class FieldAnswer:
    """What somebody said of a field."""

    role: str = ""
    """One of `ROLES`; empty for a quantity."""
    quantity: str = ""
    unit: str = ""
    """Code; empty if nothing was said of it."""


@dataclass(slots=True)
class Answers:
    """Answers by the keys of their questions; remembers which were used."""

    given: Mapping[str, str] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    spelt: dict[str, str] = field(default_factory=dict)
    """Keys as they were given, by their folded form."""

    def __post_init__(self) -> None:
        """Fold the keys, and refuse what cannot be meant. Raises `AnswerError`."""
        self.spelt = {_folded(key): " ".join(key.split()) for key in self.given}
        self.given = {_folded(key): value.strip() for key, value in self.given.items()}
        for key in self.given:
            self._checked(key)
        self.used.clear()

    def of_field(self, key: str) -> FieldAnswer | None:
        """Return what was said of a field."""
        said = self._said(key)
        return None if said is None else _field_answer(key, said)

    def outcome_of(self, kind: str, text: str) -> Outcome | None:
        """Return what a ``token`` or a ``status`` was said to mean."""
        said = self._said(f"{kind} {text}")
        return None if said is None else Outcome(said)

    def tokens(self) -> dict[str, Outcome]:
        """Return every text that was said to stand in place of a number."""
        keys = [key for key in self.given if key.startswith("token ")]
        self.used.update(keys)
        return {self.spelt[key].partition(" ")[2]: Outcome(self.given[key]) for key in keys}

    def unit_of(self, text: str) -> str | None:
        """Return the code of a unit that was said to be written so."""
        return self._said(f"unit {text}")

    @property
    def decimal(self) -> str | None:
        """The decimal mark, if somebody said it."""
        return self._said("decimal")

    @property
    def month_first(self) -> bool:
        """Whether somebody said that the month comes before the day."""
        return self._said("dates") == "month-first"

    @property
    def unused(self) -> tuple[str, ...]:
        """Answers that nobody asked for."""
        return tuple(key for key in self.given if key not in self.used)

    def _said(self, key: str) -> str | None:
        folded = _folded(key)
        if folded not in self.given:
            return None
        self.used.add(folded)
        return self.given[folded]

    def _checked(self, key: str) -> None:
        said = self.given[key]
        kind = key.partition(" ")[0]
        if key == "decimal" and said not in (",", "."):
            raise AnswerError(key, f"the decimal mark is , or . and not {said!r}")
        if key == "dates" and said not in ("day-first", "month-first"):
            raise AnswerError(key, f"dates are day-first or month-first, not {said!r}")
        if kind in ("token", "status") and " " in key and said not in list(Outcome):
            raise AnswerError(key, f"{said!r} is no outcome; there are: {', '.join(Outcome)}")
        if kind == "unit" and " " in key:
            _unit_code(key, said)
        elif key not in ("decimal", "dates") and kind not in ("token", "status"):
            _field_answer(key, said)


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()


def _field_answer(key: str, said: str) -> FieldAnswer:
    if said in ROLES:
        return FieldAnswer(role=said)
    code, _, unit_text = said.partition(":")
    try:
        quantity(code)
    except UnitError:
        known = ", ".join((*ROLES, *(one.code for one in quantities())))
        raise AnswerError(key, f"{code!r} is nothing that {key!r} can be; there are: {known}") from None
    unit_code = _unit_code(key, unit_text) if unit_text else ""
    if unit_code and not fits(code, unit_code):
        raise AnswerError(key, f"{code} is never given in {unit_code}; say another unit for {key!r}")
    return FieldAnswer(quantity=code, unit=unit_code)


def _unit_code(key: str, text: str) -> str:
    try:
        return unit(text).code
    except UnitError:
        pass
    try:
        return unit_from_text(text).code
    except UnitError as error:
        raise AnswerError(key, str(error)) from None

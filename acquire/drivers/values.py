"""From the texts of a record to readings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from acquire.drivers.message import Facts
from acquire.drivers.numbers import AnswerReader
from acquire.drivers.refusal import Refusal, shown
from acquire.events import Outcome, Reading
from acquire.reasons import UNKNOWN_MODE, UNKNOWN_UNIT, WRONG_LAYOUT
from evaluate.units import UnitError, unit, unit_from_text

Texts = Sequence[str | None]
"""What stands in each field of a record, stripped; None where an optional field is missing."""


class UnitTable:
    """The units that one value may come in, by every spelling."""

    def __init__(self, codes: Sequence[str], own_spellings: Mapping[str, str]) -> None:
        """Take codes, the one of an instrument that says none first, and the spellings of the driver file."""
        self.default: Final = codes[0]
        self._codes = frozenset(codes)
        self._by_text = {text: code for code in codes for text in (code, *unit(code).spellings)}
        self._by_text |= {text: code for text, code in own_spellings.items() if code in self._codes}

    def code_of(self, text: str) -> str:
        """Return the code of a unit as written; refuse one that is not listed."""
        code = self._by_text.get(text)
        return code if code is not None else self._loosely(text)

    def _loosely(self, text: str) -> str:
        """Return the code of a unit written with other case or blanks."""
        try:
            code = unit_from_text(text).code
        except UnitError:
            code = ""
        if code not in self._codes:
            raise Refusal(UNKNOWN_UNIT, f"wanted {' or '.join(sorted(self._codes))}, got {shown(text)}")
        return code


@dataclass(frozen=True, slots=True)
class ValueReader:
    """Read one value field."""

    index: int
    answers: AnswerReader
    units: UnitTable
    quantity: str | None
    quantity_by_mode: Mapping[str, str] = field(default_factory=dict)
    unit_index: int | None = None
    """Of the field that says the unit; None if none does."""
    qualifier_index: int | None = None
    """Of the field with the mark before the number; None if there is none."""
    silent_unit: str = ""
    """The unit of an instrument that does not say it; empty if it does."""
    glued_unit: bool = False
    """The unit stands behind the number."""
    stability: Mapping[str, bool] = field(default_factory=dict)
    """Marks behind the number and what they say."""

    def read(self, texts: Texts, facts: Facts) -> Reading | None:
        """Return the reading, or None if an optional field is missing."""
        text = texts[self.index]
        if text is None:
            return None
        stable = facts.stable
        if self.stability:
            text, stable = self._split_stability(text, facts)
        unit_code = self.units.default
        if self.glued_unit:
            text, unit_code = self._split_unit(text)
        elif self.unit_index is not None:
            unit_code = self.units.code_of(texts[self.unit_index] or "")
        mark = "" if self.qualifier_index is None else texts[self.qualifier_index]
        outcome, value = self.answers.read_marked(mark, text) if mark else self.answers.read(text)
        if self.stability and stable is None and outcome is Outcome.VALUE:
            raise Refusal(WRONG_LAYOUT, f"wanted {' or '.join(self.stability)} behind {shown(text)}")
        return Reading(
            self.quantity or self._quantity_of(facts.mode),
            outcome,
            text,
            value,
            unit_code,
            facts.sample,
            facts.sequence,
            facts.instrument_time,
            facts.mode,
            stable,
        )

    def _quantity_of(self, mode: str | None) -> str:
        try:
            return self.quantity_by_mode[mode or ""]
        except KeyError:
            known = ", ".join(self.quantity_by_mode)
            raise Refusal(UNKNOWN_MODE, f"wanted one of {known}, got {shown(mode or '')}") from None

    def _split_unit(self, text: str) -> tuple[str, str]:
        text, written = self.answers.split(text)
        if not written:
            if self.answers.read(text)[0] is Outcome.VALUE:
                raise Refusal(UNKNOWN_UNIT, f"no unit stands behind {shown(text)}")
            return text, self.units.default
        return text, self.units.code_of(written)

    def _split_stability(self, text: str, facts: Facts) -> tuple[str, bool | None]:
        head, _, mark = text.rpartition(" ")
        if mark not in self.stability:
            return text, facts.stable
        return head.rstrip(), self.stability[mark]

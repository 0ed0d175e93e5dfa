"""What the drivers made of code share of their options: strict types, and every fault with its key path."""

import json
from collections.abc import Mapping
from typing import Final, Self, TypeVar

from pydantic import Field as Setting
from pydantic import ValidationError, model_validator

from acquire.drivers.definition import Numbers, RangeMarks, Tokens
from acquire.drivers.numbers import AnswerReader, Answers, Spelling
from acquire.drivers.strict import StrictModel
from acquire.drivers.values import UnitTable
from acquire.errors import DriverOptionError
from evaluate.units import UnitError, fits

NS_PER_S: Final = 1_000_000_000  # [ns/s], exact

Options = TypeVar("Options", bound=StrictModel)


class QuantityOptions(StrictModel):
    """Which quantity a number is, and in which units it may come."""

    quantity: str
    """Code of `evaluate.units`."""
    unit: str | None = None
    """Code of the unit, if the instrument never says it or always says the same."""
    units: tuple[str, ...] = ()
    """Codes of the units, if the instrument says which; the first one counts when it says none."""
    spellings: dict[str, str] = Setting(default_factory=dict)
    """How this instrument writes units, beside the usual ways, to their codes."""

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of all units in which it may come."""
        return self.units if self.unit is None else (self.unit,)

    @property
    def table(self) -> UnitTable:
        """The units by every spelling."""
        return UnitTable(self.codes, self.spellings)

    @model_validator(mode="after")
    def _the_units_fit(self) -> Self:
        if (self.unit is None) == (not self.units):
            raise ValueError("wants exactly one of unit and units")
        strange = [code for code in self.spellings.values() if code not in self.codes]
        if strange:
            raise ValueError(f"spellings name {', '.join(strange)}, which unit or units do not")
        try:
            unfit = [code for code in self.codes if not fits(self.quantity, code)]
        except UnitError as error:
            raise ValueError(str(error)) from None
        if unfit:
            raise ValueError(f"{self.quantity} is never given in {', '.join(unfit)}")
        return self


class AnswerOptions(StrictModel):
    """How an instrument writes numbers, and what it says in place of one."""

    numbers: Numbers = Numbers()
    tokens: Tokens = Tokens()
    range_marks: RangeMarks = RangeMarks()

    @property
    def reader(self) -> AnswerReader:
        """Reads a value's text."""
        answers = Answers(self.tokens.outcomes(), self.range_marks.outcomes())
        return AnswerReader(Spelling(**self.numbers.model_dump()), answers)


def checked_options(model: type[Options], driver: str, options: Mapping[str, object]) -> Options:
    """Return the options of a line as values; raise `DriverOptionError` with every fault."""
    try:
        # By way of JSON, because there a list may become a tuple although every type is strict.
        return model.model_validate_json(json.dumps(dict(options), default=str))
    except ValidationError as error:
        faults = "; ".join(
            _fault(details["loc"], details["type"], details["msg"]) for details in error.errors()
        )
        raise DriverOptionError(f"the options of driver {driver!r} are refused: {faults}") from error


_WORDS: Final = {"missing": "is missing", "extra_forbidden": "this key is not known here"}
"""What we say instead of the library's own words, by the kind of fault."""


def _fault(location: tuple[int | str, ...], kind: str, message: str) -> str:
    path = ".".join(map(str, ("options", *location)))
    return f"{path}: {_WORDS.get(kind) or message.removeprefix('Value error, ')}"

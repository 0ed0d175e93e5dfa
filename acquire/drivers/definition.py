"""What a driver file may say: the tables of a data-only driver."""

from typing import Literal

from pydantic import Field as Setting

from acquire.drivers.expected import Example
from acquire.drivers.framing_tables import Block, Check, Framing
from acquire.drivers.layout_tables import Delimited, Fixed, Labelled, Record
from acquire.drivers.polls import Poll
from acquire.drivers.strict import StrictModel
from acquire.events import Outcome


class Numbers(StrictModel):
    """How numbers are written."""

    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", " ", "'", "\u2019", "\u00a0", "\u202f"] = ""
    exponent: bool = False
    sign_apart: bool = False
    bare_point: bool = False


class Tokens(StrictModel):
    """Whole texts that come in place of a number, by what they mean."""

    no_value: tuple[str, ...] = ()
    above_range: tuple[str, ...] = ()
    below_range: tuple[str, ...] = ()
    not_stable: tuple[str, ...] = ()
    instrument_error: tuple[str, ...] = ()
    aborted: tuple[str, ...] = ()

    def outcomes(self) -> dict[str, Outcome]:
        """Return what each text means."""
        return {text: Outcome(name) for name, texts in self for text in texts}


class RangeMarks(StrictModel):
    """Marks before a number: a bound that the instrument could not pass, or no bound."""

    above: tuple[str, ...] = ()
    below: tuple[str, ...] = ()
    exact: tuple[str, ...] = ()
    """The number is no bound, such as ``=``."""

    def outcomes(self) -> dict[str, Outcome]:
        """Return what each mark means."""
        return (
            dict.fromkeys(self.above, Outcome.ABOVE_RANGE)
            | dict.fromkeys(self.below, Outcome.BELOW_RANGE)
            | dict.fromkeys(self.exact, Outcome.VALUE)
        )


class Time(StrictModel):
    """How the instrument writes its own time."""

    form: str
    zone: str | None = None
    """``UTC``, an offset such as ``+01:00``, or a name such as ``Europe/Paris``; left out if nobody knows."""


class Definition(StrictModel):
    """A whole driver file."""

    name: str = Setting(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=64)
    version: str = Setting(min_length=1, max_length=32)
    about: str = ""
    """For people: which kind of instrument, how it is set up."""
    framing: Framing
    block: Block | None = None
    check: Check | None = None
    numbers: Numbers = Numbers()
    tokens: Tokens = Tokens()
    range_marks: RangeMarks = RangeMarks()
    units: dict[str, str] = Setting(default_factory=dict)
    """Spellings of this instrument for units, to the codes of `evaluate.units`."""
    time: Time | None = None
    poll: tuple[Poll, ...] = ()
    """What is sent to an instrument that answers only when asked."""
    delimited: Delimited | None = None
    fixed: Fixed | None = None
    labelled: Labelled | None = None
    examples: tuple[Example, ...] = Setting(min_length=1)

    @property
    def records(self) -> tuple[Record | Labelled, ...]:
        """Every kind of message, whichever the layout."""
        rows = self.delimited or self.fixed
        records = rows.records if rows is not None else ()
        return records if self.labelled is None else (*records, self.labelled)

"""What a driver file may say: the tables of a data-only driver."""

from decimal import Decimal, InvalidOperation
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, model_validator
from pydantic import Field as Setting

from acquire.drivers.checks import CheckKind, HexCase
from acquire.drivers.escapes import Encoding
from acquire.drivers.fields import Field
from acquire.drivers.polls import Poll
from acquire.drivers.strict import StrictModel
from acquire.events import Outcome
from acquire.reasons import PLAIN_WORDS


class Framing(StrictModel):
    """How bytes become frames."""

    ends: tuple[str, ...] = Setting(min_length=1)
    """End marks, with escapes."""
    start: str = ""
    """Start mark, with escapes; empty if there is none."""
    max_length: int = Setting(default=4096, ge=16, le=65_536)
    """Of a frame with its marks. [bytes]"""
    encoding: Encoding = "ascii"
    filler: str = ""
    """Characters that mean nothing before and after a frame, with escapes."""
    distrust_first: bool | None = None
    """Refuse what comes before the first end mark; if left out, done where half a frame may look whole."""


class Check(StrictModel):
    """A check in hex digits at the end of the frame."""

    kind: CheckKind
    mark: str = ""
    """Stands between the covered bytes and the digits."""
    skip_bytes: int = Setting(default=0, ge=0, le=64)
    """At the beginning of the frame, after a start mark, not covered. [bytes]"""
    includes_start: bool = False
    """The start mark is covered too."""
    case: HexCase = "upper"


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
    """Marks before a bound that the instrument could not pass."""

    above: tuple[str, ...] = ()
    below: tuple[str, ...] = ()

    def outcomes(self) -> dict[str, Outcome]:
        """Return what each mark means."""
        return dict.fromkeys(self.above, Outcome.ABOVE_RANGE) | dict.fromkeys(self.below, Outcome.BELOW_RANGE)


class Time(StrictModel):
    """How the instrument writes its own time."""

    form: str


class Record(StrictModel):
    """One kind of message: its columns from left to right."""

    columns: tuple[Field, ...] = Setting(min_length=1)


class Delimited(StrictModel):
    """Columns with a separator between them."""

    separator: str
    """With escapes."""
    runs: bool = False
    """Several separators in a row count as one, as in a table padded with blanks."""
    trailing: bool = False
    """Every row ends with one separator more."""
    quoted: bool = False
    """A column may stand in double quotes and then hold the separator; a quote inside is doubled."""
    header: bool = False
    """A row with the labels comes first and says the order; columns without a field are ignored."""
    records: tuple[Record, ...] = Setting(min_length=1)


class Labelled(StrictModel):
    """Labels with a value behind each, in any order."""

    between: str = " "
    """Stands between one pair and the next, with escapes."""
    label_end: str = " "
    """Stands between a label and its value, such as ``:``; a blank is any number of them, empty is glued."""
    fields: tuple[Field, ...] = Setting(min_length=1)


def _decimal_text(text: str) -> str:
    try:
        Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{text!r} is no decimal number") from None
    return text


class ExpectedReading(StrictModel):
    """A reading that an example must give; what is not said is not compared."""

    quantity: str
    outcome: Outcome = Outcome.VALUE
    value: Annotated[str, AfterValidator(_decimal_text)] | None = None
    text: str | None = None
    unit: str | None = None
    sample: str | None = None
    sequence: str | None = None
    instrument_time: str | None = None
    mode: str | None = None
    stable: bool | None = None

    @model_validator(mode="after")
    def _a_value_has_a_number(self) -> Self:
        if self.outcome is Outcome.VALUE and self.value is None:
            raise ValueError('an expected value needs its number: value = "3.41"')
        return self


def _known_reason(reason: str) -> str:
    if reason not in PLAIN_WORDS:
        raise ValueError(f"{reason!r} is no reason for a refusal; there are: {', '.join(PLAIN_WORDS)}")
    return reason


class Example(StrictModel):
    """Bytes that the instrument sends and what they must be read as."""

    raw: str
    """With escapes, end marks and all."""
    expect: tuple[ExpectedReading, ...] | Annotated[str, AfterValidator(_known_reason)]
    """The readings in their order, empty for a known message without any; or the reason of the refusal."""


class Definition(StrictModel):
    """A whole driver file."""

    name: str = Setting(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=64)
    version: str = Setting(min_length=1, max_length=32)
    about: str = ""
    """For people: which kind of instrument, how it is set up."""
    framing: Framing
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
    labelled: Labelled | None = None
    examples: tuple[Example, ...] = Setting(min_length=1)

    @property
    def records(self) -> tuple[tuple[Field, ...], ...]:
        """The fields of every record, whichever the layout."""
        if self.delimited is not None:
            return tuple(record.columns for record in self.delimited.records)
        return (self.labelled.fields,) if self.labelled is not None else ()

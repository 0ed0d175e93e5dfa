"""The examples of a driver file: bytes that an instrument sends, and what they must be read as."""

from decimal import Decimal, InvalidOperation
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, model_validator
from pydantic import Field as Setting

from acquire.drivers.strict import StrictModel
from acquire.events import Outcome
from acquire.reasons import PLAIN_WORDS

NoticeKind = Literal["curve_point", "calibration_report", "run_started", "run_ended", "status", "identity"]
"""As `acquire.pour` writes them."""


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


class ExpectedNotice(StrictModel):
    """A notice that an example must give; what is not said is not compared."""

    kind: NoticeKind
    values: tuple[ExpectedReading, ...] | None = Setting(default=None, min_length=1)
    """Of a curve point or a calibration report, in their order."""
    code: str | None = None
    outcome: Outcome | None = None
    words: str | None = None
    text: str | None = None
    aborted: bool | None = None
    sample: str | None = None
    sequence: str | None = None
    instrument_time: str | None = None
    mode: str | None = None


def _known_reason(reason: str) -> str:
    if reason not in PLAIN_WORDS:
        raise ValueError(f"{reason!r} is no reason for a refusal; there are: {', '.join(PLAIN_WORDS)}")
    return reason


def _in_one_line(raw: str) -> str:
    return raw.replace("\r\n", "").replace("\n", "")


class Example(StrictModel):
    """Bytes that the instrument sends and what they must be read as."""

    raw: Annotated[str, AfterValidator(_in_one_line)]
    """With escapes, end marks and all; line breaks of the file itself stand for nothing."""
    expect: tuple[ExpectedReading, ...] | Annotated[str, AfterValidator(_known_reason)]
    """The readings in their order, empty for a known message without any; or the reason of the refusal."""
    notices: tuple[ExpectedNotice, ...] | None = None
    """In their order; if left out, they are not compared."""

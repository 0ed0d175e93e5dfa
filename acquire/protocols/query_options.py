"""What a line says to the driver of query and answer in the manner of IEEE 488.2."""

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, model_validator
from pydantic import Field as Setting

from acquire.drivers.definition import Numbers
from acquire.drivers.escapes import bytes_of
from acquire.drivers.strict import StrictModel
from acquire.protocols.options import AnswerOptions, QuantityOptions


def _marks(text: str) -> str:
    try:
        mark = bytes_of(text, "ascii")
    except UnicodeEncodeError:
        raise ValueError(f"{text!r} is not ASCII") from None
    if not mark:
        raise ValueError("is empty")
    return text


Marks = Annotated[str, AfterValidator(_marks)]
"""ASCII with escapes such as ``\\n``, not empty."""


class IgnoredOptions(StrictModel):
    """A part of an answer that nobody wants."""

    ignore: Literal[True]


class QueryPoll(StrictModel):
    """One question, which may hold several queries, and what its answer says."""

    send: Marks
    """Without the end mark."""
    every_s: float = Setting(ge=0.1, le=86_400)
    """[s]"""
    timeout_s: float = Setting(default=2.0, ge=0.05, le=600)
    """[s]"""
    fields: tuple[QuantityOptions | IgnoredOptions, ...] = Setting(min_length=1)
    """From left to right."""

    @model_validator(mode="after")
    def _units_are_known(self) -> Self:
        if any(isinstance(field, QuantityOptions) and field.unit is None for field in self.fields):
            raise ValueError("such an answer is numbers alone: give unit, not units")
        if all(isinstance(field, IgnoredOptions) for field in self.fields):
            raise ValueError("a question of which nothing is wanted")
        return self


class ExpectedIdentity(StrictModel):
    """What the four parts of the answer to ``*IDN?`` must be; what is left out may be anything."""

    maker: str | None = None
    model: str | None = None
    serial: str | None = None
    firmware: str | None = None

    @property
    def parts(self) -> tuple[str | None, ...]:
        """The four of them in the order of the answer."""
        return (self.maker, self.model, self.serial, self.firmware)

    def __str__(self) -> str:
        """Write it as the answer would, with a star for anything."""
        return ",".join("*" if part is None else part for part in self.parts)


class QueryOptions(AnswerOptions):
    """Whom to expect, and what to ask."""

    poll: tuple[QueryPoll, ...] = Setting(min_length=1)
    identify: bool = True
    """Ask ``*IDN?`` first, after every trouble, and after a long silence."""
    identity: ExpectedIdentity = ExpectedIdentity()
    identity_timeout_s: float = Setting(default=2.0, ge=0.05, le=60)
    """[s]"""
    trust_s: float = Setting(default=10.0, ge=0, le=86_400)
    """After so long without an answer the instrument is asked who it is before anything else. [s]"""
    retry_s: float = Setting(default=5.0, ge=0.1, le=3600)
    """Least time from an answer that failed to the next question. [s]"""
    send_end: Marks = r"\n"
    answer_end: Marks = r"\n"
    separators: str = Setting(default=",;", min_length=1, max_length=4)
    """Each of these characters stands between two parts of an answer."""
    echo: bool = False
    """The question comes back before the answer."""
    numbers: Numbers = Numbers(exponent=True, bare_point=True)

    @model_validator(mode="after")
    def _answers_can_be_told_apart(self) -> Self:
        if self.numbers.decimal in self.separators or (
            self.numbers.thousands and self.numbers.thousands in self.separators
        ):
            raise ValueError("a mark of numbers is also a separator")
        if not self.identify and len(self.poll) > 1:
            raise ValueError(
                "without *IDN? a late answer to one poll could be taken for the other's; "
                "put the queries into one poll, such as 'A?;B?', or switch identify on"
            )
        return self

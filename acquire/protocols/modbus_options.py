"""What a line says to the Modbus driver: which registers hold which numbers."""

from collections import Counter
from decimal import Decimal, InvalidOperation
from typing import Annotated, Final, Literal, Self

from pydantic import AfterValidator, model_validator
from pydantic import Field as Setting

from acquire.drivers.strict import StrictModel
from acquire.protocols.options import QuantityOptions

MOST_REGISTERS: Final = 125  # in one answer, by the protocol
REGISTER_BYTES: Final = 2  # [bytes]

NumberType = Literal["int16", "uint16", "int32", "uint32", "float32"]
ByteOrder = Literal["AB", "BA", "ABCD", "CDAB", "BADC", "DCBA"]


def _scale(text: str) -> str:
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{text!r} is no decimal number") from None
    if not number.is_finite() or number == 0:
        raise ValueError(f"wants a finite factor other than zero, got {text}")
    return text


def _hex_digits(text: str) -> str:
    try:
        bytes.fromhex(text)
    except ValueError:
        raise ValueError(f"wants hexadecimal digits as the registers hold them, got {text!r}") from None
    return text


Registers = Annotated[str, AfterValidator(_hex_digits)]
"""What registers hold, as hexadecimal digits in the order of the wire."""


class RegisterOptions(QuantityOptions):
    """One number in the registers of a poll."""

    at: int = Setting(ge=0, lt=MOST_REGISTERS)
    """Which register of the poll it begins in; 0 is the first."""
    type: NumberType
    order: ByteOrder | None = None
    """In which order its bytes come, A being the most significant; by default AB or ABCD."""
    scale: Annotated[str, AfterValidator(_scale)] = "1"
    """Factor, as text so that no digit changes."""
    no_value: tuple[Registers, ...] = ()
    above_range: tuple[Registers, ...] = ()
    below_range: tuple[Registers, ...] = ()

    @property
    def size(self) -> int:
        """How many bytes it takes. [bytes]"""
        return 4 if self.type.endswith("32") else 2

    @property
    def byte_order(self) -> str:
        """The order, said or usual."""
        return self.order or "ABCD"[: self.size]

    @model_validator(mode="after")
    def _sizes_fit(self) -> Self:
        if len(self.byte_order) != self.size:
            raise ValueError(f"{self.type} has {self.size} bytes, the order {self.byte_order} another number")
        marks = (*self.no_value, *self.above_range, *self.below_range)
        wrong = [mark for mark in marks if len(bytes.fromhex(mark)) != self.size]
        if wrong:
            raise ValueError(f"{self.type} has {self.size} bytes, {', '.join(wrong)} another number")
        if self.unit is None:
            raise ValueError("registers never say a unit: give unit, not units")
        return self


class ModbusPoll(StrictModel):
    """One question: a block of registers."""

    registers: Literal["holding", "input"]
    first: int = Setting(ge=0, le=0xFFFF)
    """Address on the wire, counted from 0; "register 40001" of many handbooks is holding register 0."""
    count: int = Setting(ge=1, le=MOST_REGISTERS)
    every_s: float = Setting(ge=0.1, le=86_400)
    """[s]"""
    timeout_s: float = Setting(default=1.0, ge=0.05, le=60)
    """[s]"""
    fields: tuple[RegisterOptions, ...] = Setting(min_length=1)

    @model_validator(mode="after")
    def _fields_lie_within(self) -> Self:
        beyond = [
            f"{field.quantity} at {field.at}"
            for field in self.fields
            if field.at * REGISTER_BYTES + field.size > self.count * REGISTER_BYTES
        ]
        if beyond:
            raise ValueError(f"{', '.join(beyond)} reaches beyond the {self.count} registers of the poll")
        if self.first + self.count > 0x1_0000:
            raise ValueError("the block reaches beyond address 65535")
        return self


class ModbusOptions(StrictModel):
    """Whom to ask, and what."""

    device: int = Setting(ge=1, le=247)
    """Address of the device on the wire."""
    poll: tuple[ModbusPoll, ...] = Setting(min_length=1)
    pause_s: float = Setting(default=0.05, ge=0, le=10)
    """Least time between an answer and the next question. [s]"""
    echo: bool = False
    """The adapter hears what it sends: the question comes back before the answer."""

    @model_validator(mode="after")
    def _answers_differ(self) -> Self:
        shapes = Counter((poll.registers, poll.count) for poll in self.poll)
        same = [f"{count} {kind} registers" for (kind, count), polls in shapes.items() if polls > 1]
        if same:
            raise ValueError(
                f"two polls ask for {' and for '.join(same)}: a late answer to one could be taken for the "
                "other; read both in one block, or read one register more in one of them"
            )
        return self

"""From the contents of registers to readings."""

import math
import struct
from decimal import Decimal
from typing import Final

from acquire.events import Outcome, Reading
from acquire.protocols.modbus_options import REGISTER_BYTES, RegisterOptions

_FORMATS: Final = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
FLOAT_DIGITS: Final = range(6, 10)  # that a 32-bit float may need to be told apart from every other


def reading_of(field: RegisterOptions, contents: bytes) -> Reading:
    """Return the reading of a number; its text are the digits before scaling."""
    begin = field.at * REGISTER_BYTES
    raw = contents[begin : begin + field.size]
    outcome, text = _marked(field, raw) or _number(field, raw)
    value = Decimal(text) * Decimal(field.scale) if outcome is Outcome.VALUE else None
    return Reading(field.quantity, outcome, text, value, field.codes[0])


def failed_reading(field: RegisterOptions, text: str) -> Reading:
    """Return the reading of a number that the device could not give."""
    return Reading(field.quantity, Outcome.INSTRUMENT_ERROR, text, None, field.codes[0])


def _marked(field: RegisterOptions, raw: bytes) -> tuple[Outcome, str] | None:
    """Return what registers stand for that hold a declared mark in place of a number."""
    marks = (
        (field.no_value, Outcome.NO_VALUE),
        (field.above_range, Outcome.ABOVE_RANGE),
        (field.below_range, Outcome.BELOW_RANGE),
    )
    for texts, outcome in marks:
        if raw in [bytes.fromhex(text) for text in texts]:
            return outcome, raw.hex().upper()
    return None


def _number(field: RegisterOptions, raw: bytes) -> tuple[Outcome, str]:
    in_order = bytes(raw[field.byte_order.index(letter)] for letter in "ABCD"[: field.size])
    (number,) = struct.unpack(_FORMATS[field.type], in_order)
    if not isinstance(number, float):
        return Outcome.VALUE, str(number)
    if math.isnan(number):
        return Outcome.NO_VALUE, "nan"
    if math.isinf(number):
        return (Outcome.ABOVE_RANGE, "inf") if number > 0 else (Outcome.BELOW_RANGE, "-inf")
    return Outcome.VALUE, shortest_float32(number)


def shortest_float32(number: float) -> str:
    """Return the fewest digits that no other 32-bit float would be written with."""
    wanted = struct.pack(">f", number)
    texts = (f"{number:.{digits}g}" for digits in FLOAT_DIGITS)
    text = next((text for text in texts if _packed(text) == wanted), repr(number))
    return f"{Decimal(text):f}"


def _packed(text: str) -> bytes:
    try:
        return struct.pack(">f", float(text))
    except OverflowError:  # fewer digits rounded the greatest floats up to none at all
        return b""

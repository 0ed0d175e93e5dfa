"""Which settings a serial line has, judged from what comes over it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from acquire.config import Parity, SerialSettings
from acquire.doctor.characters import is_two_bytes_a_character, percent, shares

SPEEDS: Final = (9600, 4800, 2400, 1200, 19200, 38400, 57600, 115_200)
"""That instruments use, the usual ones first. [bit/s]"""
ENOUGH_BYTES: Final = 48  # [bytes]
TEXT_SHARE: Final = 0.97  # of what comes at the right settings
WRONG_SHARE: Final = 0.7  # of text or less: the speed is wrong


class Hearing(StrEnum):
    """What bytes say of the settings at which they were heard."""

    TOO_LITTLE = "too_little"
    TEXT = "text"
    SEVEN_EVEN = "seven_even"
    SEVEN_ODD = "seven_odd"
    UNCLEAR = "unclear"
    """Mostly text, or bytes of a kind that a speed cannot be judged by."""
    WRONG = "wrong"
    """What a line sounds like at the wrong speed."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What was judged, and from what."""

    hearing: Hearing
    because: str


def judge(data: bytes) -> Judgement:
    """Judge bytes that were heard with 8 data bits and without parity."""
    if len(data) < ENOUGH_BYTES:
        return Judgement(Hearing.TOO_LITTLE, f"{len(data)} bytes came")
    found = shares(data)
    parity = max(found.even, 1 - found.even)
    if found.text >= TEXT_SHARE or is_two_bytes_a_character(data):
        return Judgement(Hearing.TEXT, f"{percent(found.text)} of {len(data)} bytes are text")
    if found.text_in_seven >= TEXT_SHARE and parity >= TEXT_SHARE and found.high > 0.1:
        name = "even" if found.even > 0.5 else "odd"
        because = (
            f"{percent(parity)} of {len(data)} bytes have {name} parity and are text without their eighth bit"
        )
        return Judgement(Hearing.SEVEN_EVEN if name == "even" else Hearing.SEVEN_ODD, because)
    because = f"{percent(1 - found.text)} of {len(data)} bytes are no text"
    return Judgement(Hearing.WRONG if found.text < WRONG_SHARE else Hearing.UNCLEAR, because)


def settings_to_try(first: SerialSettings) -> Iterator[SerialSettings]:
    """Yield the settings at which to listen: those that are given, then other speeds, always with 8 bits."""
    eight = replace(first, data_bits=8, parity=Parity.NONE)
    yield eight
    for baud in SPEEDS:
        if baud != first.baud:
            yield replace(eight, baud=baud)


def settings_of(heard_at: SerialSettings, hearing: Hearing) -> SerialSettings:
    """Return the settings that a line should have, by those at which it was heard and what was heard."""
    if hearing is Hearing.SEVEN_EVEN:
        return replace(heard_at, data_bits=7, parity=Parity.EVEN)
    if hearing is Hearing.SEVEN_ODD:
        return replace(heard_at, data_bits=7, parity=Parity.ODD)
    return heard_at

"""Rules that look at the bytes: how characters were framed on the wire, and where lines end."""

from typing import Final

from acquire.doctor.characters import Shares, is_two_bytes_a_character, percent, shares
from acquire.doctor.evidence import Evidence
from acquire.doctor.hints import Finding, Rule

ENOUGH_BYTES: Final = 32  # by chance one sample of so many has one parity in 4 000 million
NEARLY_ALL: Final = 0.97  # a bit may fall over on a bad cable
SOME_HIGH: Final = 0.10  # share of set eighth bits in text with parity: about a half
STRAY_SHARE: Final = 0.30  # of NULs, high bits and control characters in text at the wrong speed


def _seven_bits(parity: str, evidence: Evidence) -> Finding | None:
    """See whether the eighth bit makes the number of set bits even, or odd, in nearly every byte."""
    sample = evidence.sample
    if len(sample) < ENOUGH_BYTES or evidence.data_bits == 7:
        return None
    if evidence.frames_read > evidence.frames_refused:
        return None  # the driver takes the eighth bit away
    found = shares(sample)
    fitting = found.even if parity == "even" else 1 - found.even
    if fitting < NEARLY_ALL or found.high < SOME_HIGH or found.text_in_seven < NEARLY_ALL:
        return None
    return Finding(
        f"{percent(fitting)} of {len(sample)} bytes have {parity} parity, "
        f"and without their eighth bit {percent(found.text_in_seven)} are text"
    )


def _wrong_speed(evidence: Evidence) -> Finding | None:
    sample = evidence.sample
    if len(sample) < ENOUGH_BYTES or evidence.frames_read:
        return None
    found = shares(sample)
    stray = 1 - found.text
    if stray < STRAY_SHARE or _is_explained(evidence, found):
        return None
    return Finding(
        f"{percent(stray)} of {len(sample)} bytes are no text: {percent(found.nul)} NULs, "
        f"{percent(found.high)} with the eighth bit set"
    )


def _is_explained(evidence: Evidence, found: Shares) -> bool:
    """Tell whether something else makes these bytes: parity, or two bytes a character."""
    parity = max(found.even, 1 - found.even) >= NEARLY_ALL and found.text_in_seven >= NEARLY_ALL
    return parity or is_two_bytes_a_character(evidence.sample)


def _two_bytes(evidence: Evidence) -> Finding | None:
    if len(evidence.sample) < ENOUGH_BYTES or evidence.frames_read:
        return None
    if not is_two_bytes_a_character(evidence.sample):
        return None
    return Finding(f"every other of {len(evidence.sample)} bytes is NUL, and the rest is text")


def _cr_only(evidence: Evidence) -> Finding | None:
    sample = evidence.sample
    returns = sample.count(b"\r")
    if evidence.frames_read or returns < 3 or b"\n" in sample or shares(sample).text < NEARLY_ALL:
        return None
    return Finding(
        f"{returns} carriage returns and no line feed in {len(sample)} bytes, and no frame was read"
    )


RULES: Final = (
    Rule(
        "seven_even",
        "looks like 7 data bits, even parity",
        "set data_bits = 7 and parity = even; on a line without such settings, encoding = 7bit in the driver",
        lambda evidence: _seven_bits("even", evidence),
    ),
    Rule(
        "seven_odd",
        "looks like 7 data bits, odd parity",
        "set data_bits = 7 and parity = odd; on a line without such settings, encoding = 7bit in the driver",
        lambda evidence: _seven_bits("odd", evidence),
    ),
    Rule(
        "two_bytes",
        "looks like text with two bytes a character",
        "say encoding = utf-16 in the [framing] of the driver file",
        _two_bytes,
    ),
    Rule(
        "wrong_speed",
        "looks like the wrong speed: stray NULs and high bits instead of text",
        "look up the speed in the instrument's menu or manual; usual are 9600, 1200, 2400, 4800 and 19200. "
        "An instrument that does not send text needs a driver of its own",
        _wrong_speed,
    ),
    Rule(
        "cr_only",
        "lines end in a carriage return alone",
        r"say ends = ['\r'] in the [framing] of the driver file",
        _cr_only,
    ),
)

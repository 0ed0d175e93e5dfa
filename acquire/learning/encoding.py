"""From bytes to text: which encoding an instrument uses, judged from the bytes alone."""

from dataclasses import dataclass
from typing import Final

from acquire.doctor.characters import is_two_bytes_a_character, percent, shares
from acquire.drivers.byte_order import BYTE_ORDER_MARKS
from acquire.drivers.escapes import CODECS, Encoding
from acquire.drivers.text import SEVEN_BITS
from acquire.learning.report import Claim, succession

ENOUGH_BYTES: Final = 32  # by chance one sample of so many has one parity in 4 000 million
NEARLY_ALL: Final = 0.97  # a bit may fall over on a bad cable
SOME_HIGH: Final = 0.10  # share of set eighth bits in text with parity: about a half
LOOKED_AT_BYTES: Final = 65_536  # [bytes]


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read some bytes as text."""

    encoding: Encoding
    claim: Claim


def encoding_of(data: bytes) -> Reading:
    """Judge the encoding of some bytes; never fails, and says how sure it is."""
    sample = data[:LOOKED_AT_BYTES]
    return _two_bytes(sample) or _seven_bits(sample) or _eight_bits(sample)


def as_plain_bytes(data: bytes, encoding: Encoding) -> bytes:
    """Return bytes in which each character of ASCII is itself, as all further judging wants them."""
    if encoding == "7bit":
        return data.translate(SEVEN_BITS)
    if encoding.startswith("utf-16"):
        codec = "utf-16" if encoding == "utf-16" else CODECS[encoding]
        return data.decode(codec, "replace").encode("utf-8", "replace")
    return data


def plain_codec(encoding: Encoding) -> str:
    """Return the codec of what `as_plain_bytes` returns."""
    return "utf-8" if encoding.startswith("utf-16") else CODECS[encoding]


def _two_bytes(sample: bytes) -> Reading | None:
    if sample.startswith(tuple(BYTE_ORDER_MARKS.values())):
        said = "a byte order mark comes first"
        return Reading("utf-16", Claim("encoding", "UTF-16, as its byte order mark says", 0.99, said))
    if len(sample) < ENOUGH_BYTES or not is_two_bytes_a_character(sample):
        return None
    encoding: Encoding = "utf-16-be" if sample[::2].count(0) > sample[1::2].count(0) else "utf-16-le"
    because = f"every other of {len(sample)} bytes is NUL, and the rest is text"
    return Reading(encoding, Claim("encoding", encoding, 0.97, because))


def _seven_bits(sample: bytes) -> Reading | None:
    found = shares(sample)
    fitting = max(found.even, 1 - found.even)
    if len(sample) < ENOUGH_BYTES or fitting < NEARLY_ALL:
        return None
    if found.high < SOME_HIGH or found.text_in_seven < NEARLY_ALL:
        return None
    parity = "even" if found.even > 0.5 else "odd"
    says = f"7 data bits with {parity} parity: set data_bits = 7 and parity = {parity} on the line"
    because = (
        f"{percent(fitting)} of {len(sample)} bytes have {parity} parity, "
        f"and without their eighth bit {percent(found.text_in_seven)} are text"
    )
    sure = succession(fitting * len(sample), len(sample))
    return Reading("7bit", Claim("encoding", says, sure, because))


def _eight_bits(sample: bytes) -> Reading:
    high = sum(byte >= 0x80 for byte in sample)
    size = len(sample)
    if high <= 0.002 * size:
        said = f"{size - high} of {size} bytes are ASCII"
        return Reading("ascii", Claim("encoding", "ASCII", succession(size - high, size), said))
    wrong = _wrong_in_utf8(sample)
    if wrong <= 0.05 * high:
        said = f"{high} bytes above ASCII, {wrong} of them not as UTF-8 has them"
        return Reading("utf-8", Claim("encoding", "UTF-8", succession(high - wrong, high), said))
    guess, names_ours = _guess_of_library(sample)
    because = f"{high} of {size} bytes are above ASCII and are no UTF-8; a guess by frequencies says {guess}"
    sure = 0.8 if names_ours else 0.6
    return Reading("cp1252", Claim("encoding", "cp1252", sure, because, is_guess=True))


def _wrong_in_utf8(sample: bytes) -> int:
    return sum(character == "\ufffd" for character in sample.decode("utf-8", "replace"))


def _guess_of_library(sample: bytes) -> tuple[str, bool]:
    """Return what a library guesses, which is told and decides nothing; and whether it is what we take."""
    from charset_normalizer import from_bytes

    try:
        best = from_bytes(sample[:8192]).best()
    except (UnicodeError, LookupError, ValueError, OverflowError):
        return "nothing", False
    name = "nothing" if best is None else best.encoding
    return name, name in ("cp1252", "latin_1", "iso8859_15")

"""Counts over the bytes of a line that show how they were sent and received."""

from dataclasses import dataclass
from typing import Final

TEXT: Final = frozenset((*range(0x20, 0x7F), 0x09, 0x0A, 0x0D))
"""Printable ASCII, tab and line ends."""

_EVEN: Final = bytes(byte.bit_count() % 2 == 0 for byte in range(256))
_IS_TEXT: Final = bytes(byte in TEXT for byte in range(256))
_HIGH: Final = bytes(byte >= 0x80 for byte in range(256))
_LOW_SEVEN: Final = bytes(byte & 0x7F for byte in range(256))


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of the bytes of a sample, from 0 to 1."""

    text: float
    high: float
    """With the eighth bit set."""
    even: float
    """With an even number of set bits."""
    text_in_seven: float
    """Text once the eighth bit is taken away."""
    nul: float


def shares(sample: bytes) -> Shares:
    """Return the shares of a sample; all are 0 of an empty one."""
    size = len(sample) or 1
    return Shares(
        text=_count(sample, _IS_TEXT) / size,
        high=_count(sample, _HIGH) / size,
        even=_count(sample, _EVEN) / size,
        text_in_seven=_count(sample.translate(_LOW_SEVEN), _IS_TEXT) / size,
        nul=sample.count(0) / size,
    )


def is_two_bytes_a_character(sample: bytes) -> bool:
    """Tell whether every other byte is NUL and the rest is text."""
    for first in (0, 1):
        letters, nuls = sample[first::2], sample[1 - first :: 2]
        if nuls and nuls.count(0) >= 0.9 * len(nuls) and _count(letters, _IS_TEXT) >= 0.9 * len(letters):
            return True
    return False


def _count(sample: bytes, table: bytes) -> int:
    return sum(sample.translate(table))


def percent(share: float) -> str:
    """Write a share for a person."""
    return f"{100 * share:.0f} %"

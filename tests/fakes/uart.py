"""Bits on a wire: what a receiver makes of them whose settings are not those of the sender.

A start bit is low, data come lowest bit first, then the parity bit, then the stop bit is high. A receiver
looks at the middle of each bit by its own clock; a character without its stop bit reaches a program as NUL.
"""

from typing import Literal

Parity = Literal["none", "even", "odd"]


def transmit(data: bytes, *, data_bits: int = 8, parity: Parity = "none", idle_bits: int = 2) -> list[int]:
    """Return the level of the wire for each bit time of the sender."""
    levels = [1] * 10
    for byte in data:
        bits = [(byte >> place) & 1 for place in range(data_bits)]
        if parity != "none":
            bits.append((sum(bits) + (parity == "odd")) % 2)
        levels += [0, *bits, *([1] * (1 + idle_bits))]
    return levels + [1] * 40


def receive(levels: list[int], *, speed: float = 1.0, data_bits: int = 8) -> bytes:
    """Return what a receiver reads whose clock runs `speed` times as fast as the sender's."""
    bit = 1 / speed
    heard = bytearray()
    at = 1.0
    while at < len(levels) - 12 * bit:
        if _level(levels, at) == 1 or _level(levels, at - 0.01) == 0:
            at += 0.01
            continue
        bits = [_level(levels, at + (place + 1.5) * bit) for place in range(data_bits)]
        is_whole = _level(levels, at + (data_bits + 1.5) * bit) == 1
        heard.append(sum(value << place for place, value in enumerate(bits)) if is_whole else 0)
        at += (data_bits + 1.5) * bit
    return bytes(heard)


def _level(levels: list[int], at: float) -> int:
    return levels[int(at)]

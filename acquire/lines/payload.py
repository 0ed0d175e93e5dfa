"""What a message of a broker carries: the seam at which kinds of payload differ."""

from collections.abc import Callable

from acquire.events import Instant
from acquire.lines.transport import Piece

ReadPayload = Callable[[bytes, Instant], tuple[Piece, ...]]
"""Turns the payload of a message and the instant of its arrival into the bytes that an instrument sent."""


def plain(payload: bytes, at: Instant) -> tuple[Piece, ...]:
    """Take the payload as it is: a plain device publishes just what it would have put on a wire."""
    return (Piece(at, payload),) if payload else ()

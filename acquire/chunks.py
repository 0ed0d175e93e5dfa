"""From pieces as the port gave them to chunks as they are kept."""

from collections.abc import Iterable
from typing import Final

from acquire.events import Instant
from acquire.lines.transport import Piece
from acquire.sink import Chunk

GATHER_NS: Final = 20_000_000  # [ns] longest time that one chunk spans


def gather(pieces: Iterable[Piece], span_ns: int = GATHER_NS) -> tuple[Chunk, ...]:
    """Join pieces that came close together; each chunk bears the instant of its first byte.

    Parameters
    ----------
    pieces : iterable of Piece
        In the order in which they came.
    span_ns : int
        Pieces that came later than this after the first of a chunk begin another one. [ns]
    """
    chunks: list[Chunk] = []
    begin: Instant | None = None
    data = bytearray()
    for piece in pieces:
        if begin is not None and piece.at.monotonic_ns - begin.monotonic_ns > span_ns:
            chunks.append(Chunk(begin, bytes(data)))
            begin = None
        if begin is None:
            begin, data = piece.at, bytearray()
        data += piece.data
    if begin is not None:
        chunks.append(Chunk(begin, bytes(data)))
    return tuple(chunks)

"""Stored captures through a corrected driver: what would change; nothing is written here.

A capture is walked through in windows, so that one of any size needs little memory.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.poured import Change, Decoder, Kind, PouredFrame, changes, is_reshaped
from storage.queries import (
    ChunkRecord,
    PouredCapture,
    PourScope,
    StandingFrame,
    captures_in_scope,
    chunks_after,
    standing_frames,
    standing_readings,
)

WINDOW_CHUNKS: Final = 256  # read from the store at a time
WINDOW_BYTES: Final = 64 << 10
"""Decoded and compared at a time: of the shortest messages some thousand readings. [bytes]"""
FOUND_OPEN: Final = "found_open"
"""Ending of a capture that a dead daemon left open: no driver was told of its end."""

Reader = Callable[[], AbstractContextManager[Connection]]
MakeDecoder = Callable[[], Decoder]


@dataclass(frozen=True, slots=True)
class Poured:
    """What a driver would change, or has changed, in one capture."""

    capture: PouredCapture
    changed: int
    added: int
    withdrawn: int
    reshaped: bool
    """Whether the bytes are cut into other frames."""
    end_offset: int
    """Behind the last byte that lies in a frame. [bytes]"""

    @property
    def is_same(self) -> bool:
        """Whether nothing differs."""
        return not (self.changed or self.added or self.withdrawn or self.reshaped)

    @property
    def must_wait(self) -> bool:
        """Whether its line must be stopped first: frames that still grow cannot be cut anew."""
        return self.reshaped and self.capture.ended_at_us is None


class Window(NamedTuple):
    """A stretch of a capture."""

    frames: Sequence[PouredFrame]
    standing: Sequence[StandingFrame]
    changes: Sequence[Change]


def captures(reader: Reader, scope: PourScope) -> Iterator[PouredCapture]:
    """Yield the captures of a scope, oldest first."""
    after = 0
    while True:
        with reader() as connection:
            found = captures_in_scope(connection, scope, after=after, limit=100)
        if not found:
            return
        yield from found
        after = found[-1].number


def suppose(
    reader: Reader, of: PouredCapture, make_decoder: MakeDecoder, *, shown: Callable[[Change], object]
) -> Poured:
    """Return what a driver would change in a capture, and show each change; nothing is written."""
    tally: Counter[Kind] = Counter()
    reshaped, end_offset = False, 0
    for window in windows(reader, of, make_decoder()):
        reshaped = reshaped or is_reshaped(window.standing, window.frames)
        if window.frames:
            end_offset = window.frames[-1].offset + window.frames[-1].length
        for change in window.changes:
            tally[change.kind] += 1
            shown(change)
    return Poured(of, tally[Kind.CHANGED], tally[Kind.ADDED], tally[Kind.WITHDRAWN], reshaped, end_offset)


def windows(reader: Reader, of: PouredCapture, decoder: Decoder) -> Iterator[Window]:
    """Yield what a driver finds in a capture beside what stands there, stretch by stretch."""
    place = 0
    for frames, is_last in _decoded(reader, of, decoder):
        end = frames[-1].offset + frames[-1].length if frames else place
        with reader() as connection:
            standing = standing_frames(connection, of.number, begin=place, end=_end(of, end, is_last))
            readings = standing_readings(connection, of, begin=place, end=_end(of, end, is_last))
        yield Window(frames, standing, list(changes(readings, frames)))
        place = end


_EVERYTHING: Final = 2**62  # past every offset [bytes]


def _end(of: PouredCapture, end: int, is_last: bool) -> int:  # noqa: FBT001 - a private helper
    """Return up to where frames are compared; of a capture that goes on, what came meanwhile is left."""
    return _EVERYTHING if is_last and of.ended_at_us is not None else end


def _decoded(reader: Reader, of: PouredCapture, decoder: Decoder) -> Iterator[tuple[list[PouredFrame], bool]]:
    """Yield frames in the order of their bytes, and whether they are the last."""
    after = 0
    while True:
        with reader() as connection:
            chunks = chunks_after(connection, of.number, after=after, limit=WINDOW_CHUNKS, direction=None)
        if not chunks:
            break
        after = chunks[-1].number
        for some in _stretches(chunks):
            yield decoder.feed(some), False
    ended = of.ended_at_us is not None and of.ending != FOUND_OPEN
    yield (decoder.finish(of.ended_at_us) if ended and of.ended_at_us is not None else []), True


def _stretches(chunks: Sequence[ChunkRecord]) -> Iterator[Sequence[ChunkRecord]]:
    """Yield chunks that follow each other, of about as many bytes as are decoded at a time."""
    begin, size = 0, 0
    for place, chunk in enumerate(chunks):
        size += len(chunk.data)
        if size >= WINDOW_BYTES:
            yield chunks[begin : place + 1]
            begin, size = place + 1, 0
    if begin < len(chunks):
        yield chunks[begin:]

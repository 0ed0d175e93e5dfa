"""What a pour finds in a capture, held against what stands: which readings change, and how."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from enum import StrEnum
from typing import Final, NamedTuple, Protocol

from storage.queries import WITHDRAWN, StandingFrame, StandingReading
from storage.queries.streams import ChunkRecord


class PouredReading(NamedTuple):
    """One quantity as a driver finds it in stored bytes; fields as in `storage.rows.ReadingRow`."""

    quantity: str
    outcome: str
    value_text: str
    value_numeral: str | None
    value: float | None
    unit: str
    sample: str | None = None
    sequence: str | None = None
    instrument_time: str | None = None
    mode: str | None = None
    stable: int | None = None


class PouredFrame(NamedTuple):
    """A frame as a driver cuts it out of stored bytes."""

    offset: int
    """[bytes]"""
    length: int
    """[bytes]"""
    outcome: str
    """read, refused or filler."""
    at_us: int
    """When the bytes came that completed it. [µs since 1970 UTC]"""
    reason: str | None = None
    detail: str | None = None
    readings: tuple[PouredReading, ...] = ()


class Decoder(Protocol):
    """Runs a driver over one capture, in the way in which it was heard."""

    def feed(self, chunks: Sequence[ChunkRecord]) -> list[PouredFrame]:
        """Take the next chunks, heard and sent, and return the frames that they complete."""

    def finish(self, ended_at_us: int) -> list[PouredFrame]:
        """Say that the line was closed or lost then, and return what that completes. [µs since 1970 UTC]"""


class Kind(StrEnum):
    """What happens to a reading."""

    CHANGED = "changed"
    ADDED = "added"
    WITHDRAWN = "withdrawn"


class Change(NamedTuple):
    """A reading that the driver finds otherwise than it stands."""

    kind: Kind
    frame_offset: int
    """Of the frame it stands in. [bytes]"""
    position: int
    """Among the readings of its frame."""
    at_us: int
    before: StandingReading | None
    after: PouredReading | None


COMPARED: Final = PouredReading._fields
"""What makes a reading another one."""


def changes(standing: Sequence[StandingReading], frames: Sequence[PouredFrame]) -> Iterator[Change]:
    """Yield what differs between the readings that stand in some frames and those that a driver finds.

    A reading is known by the first byte of its frame and by its quantity there; what is then left over on
    both sides is the same reading with another quantity, in order.
    """
    before = _by_offset(standing)
    for frame in frames:
        yield from _changes_of_frame(frame, before.pop(frame.offset, []))
    for offset, left in before.items():
        yield from (_withdrawn(one, offset) for one in left if one.outcome != WITHDRAWN)


def _by_offset(standing: Iterable[StandingReading]) -> dict[int, list[StandingReading]]:
    found: defaultdict[int, list[StandingReading]] = defaultdict(list)
    for one in standing:
        found[one.offset].append(one)
    return dict(found)


def _changes_of_frame(frame: PouredFrame, before: Sequence[StandingReading]) -> Iterator[Change]:
    pairs, left = _paired(frame.readings, before)
    for position, (after, found) in enumerate(zip(frame.readings, pairs, strict=True)):
        if found is None:
            yield Change(Kind.ADDED, frame.offset, position, frame.at_us, None, after)
        elif not _same(found, after):
            yield Change(Kind.CHANGED, frame.offset, position, found.at_us, found, after)
    yield from (_withdrawn(one, frame.offset) for one in left if one.outcome != WITHDRAWN)


def _paired(
    after: Sequence[PouredReading], before: Sequence[StandingReading]
) -> tuple[list[StandingReading | None], list[StandingReading]]:
    """Return for each reading the one it was before, and those that it was none of."""
    left = list(before)
    pairs: list[StandingReading | None] = []
    for one in after:
        same = next((other for other in left if other.quantity == one.quantity), None)
        pairs.append(same)
        if same is not None:
            left.remove(same)
    spare = iter(sorted(left, key=lambda one: one.outcome == WITHDRAWN))  # what stands goes first
    pairs = [next(spare, None) if pair is None else pair for pair in pairs]
    return pairs, list(spare)


def _same(before: StandingReading, after: PouredReading) -> bool:
    return all(getattr(before, name) == getattr(after, name) for name in COMPARED)


def taken_back(before: StandingReading) -> PouredReading:
    """Return what stands in the place of a reading that is withdrawn."""
    return PouredReading(
        before.quantity, WITHDRAWN, "", None, None, before.unit, before.sample, before.sequence
    )


def _withdrawn(before: StandingReading, offset: int) -> Change:
    return Change(Kind.WITHDRAWN, offset, before.position, before.at_us, before, None)


def is_reshaped(standing: Sequence[StandingFrame], frames: Sequence[PouredFrame]) -> bool:
    """Tell whether a driver cuts bytes into other frames than stand, or refuses other ones.

    Filler is what lies between frames, so it need not be compared.
    """
    return _shape(standing) != _shape(frames)


def _shape(frames: Sequence[StandingFrame] | Sequence[PouredFrame]) -> list[tuple[object, ...]]:
    return [(one.offset, one.length, one.outcome, one.reason) for one in frames if one.outcome != "filler"]

"""The bytes of a capture: its chunks as they came, and the frames found in them."""

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, and_, or_, select

from storage.schema import chunk, frame, pour_capture

HEARD: Final = "heard"


@dataclass(frozen=True, slots=True)
class ChunkRecord:
    """A chunk with its bytes."""

    number: int
    at_us: int
    direction: str
    offset: int
    data: bytes


@dataclass(frozen=True, slots=True)
class FrameRecord:
    """Where a frame lies and what became of it."""

    number: int
    ordinal: int
    capture_number: int
    offset: int
    length: int
    outcome: str
    reason: str | None
    detail: str | None


class Shape(NamedTuple):
    """Whose frames are those of a capture: up to an offset those of a pour, from there those read live."""

    pour_number: int
    end_offset: int
    """[bytes]"""


def shape_of(connection: Connection, capture_number: int) -> Shape | None:
    """Return the pour that last cut a capture into other frames; None if all are as they were read live."""
    statement = (
        select(pour_capture.c.pour_number, pour_capture.c.end_offset)
        .where(pour_capture.c.capture_number == capture_number, pour_capture.c.reshaped == 1)
        .order_by(pour_capture.c.number.desc())
        .limit(1)
    )
    row = connection.execute(statement).one_or_none()
    return None if row is None else Shape(*row)


def current_frames(shape: Shape | None, capture_number: int) -> Any:
    """Return the condition that a frame is one of a capture as it stands now."""
    live = frame.c.pour_number.is_(None)
    if shape is None:
        return and_(frame.c.capture_number == capture_number, live)
    later = and_(live, frame.c.offset >= shape.end_offset)
    poured = frame.c.pour_number == shape.pour_number
    return and_(frame.c.capture_number == capture_number, or_(poured, later))


def chunks_after(
    connection: Connection, capture_number: int, *, after: int, limit: int, direction: str | None = HEARD
) -> list[ChunkRecord]:
    """Return the next chunks of a capture after a ledger number, in order."""
    statement = (
        select(chunk.c.number, chunk.c.at_us, chunk.c.direction, chunk.c.offset, chunk.c.data)
        .where(chunk.c.capture_number == capture_number, chunk.c.number > after)
        .order_by(chunk.c.number)
        .limit(limit)
    )
    if direction is not None:
        statement = statement.where(chunk.c.direction == direction)
    return [ChunkRecord(*row) for row in connection.execute(statement)]


def frame_bytes(connection: Connection, found: FrameRecord) -> bytes:
    """Return the bytes of a frame: what completed it came before its entry, so walk back from there."""
    statement = (
        select(chunk.c.offset, chunk.c.data)
        .where(chunk.c.capture_number == found.capture_number, chunk.c.direction == HEARD)
        .where(chunk.c.number <= found.number, chunk.c.offset < found.offset + found.length)
        .order_by(chunk.c.number.desc())
    )
    pieces: list[bytes] = []
    end = found.offset + found.length
    for offset, data in connection.execute(statement):
        pieces.append(data[max(0, found.offset - offset) : max(0, end - offset)])
        if offset <= found.offset:
            break
    return b"".join(reversed(pieces))


_SELECT_FRAMES: Final = select(
    frame.c.number,
    frame.c.ordinal,
    frame.c.capture_number,
    frame.c.offset,
    frame.c.length,
    frame.c.outcome,
    frame.c.reason,
    frame.c.detail,
)


def frames_from(
    connection: Connection, capture_number: int, *, offset: int, limit: int, outcome: str | None = None
) -> list[FrameRecord]:
    """Return the frames of a capture that begin at or after an offset, in order. [bytes]"""
    statement = (
        _SELECT_FRAMES.where(current_frames(shape_of(connection, capture_number), capture_number))
        .where(frame.c.offset >= offset)
        .order_by(frame.c.offset)
        .limit(limit)
    )
    if outcome is not None:
        statement = statement.where(frame.c.outcome == outcome)
    return [FrameRecord(*row) for row in connection.execute(statement)]


def frame_at(connection: Connection, number: int, ordinal: int) -> FrameRecord | None:
    """Return the frame that came with a ledger entry, or None."""
    row = connection.execute(
        _SELECT_FRAMES.where(frame.c.number == number, frame.c.ordinal == ordinal)
    ).one_or_none()
    return None if row is None else FrameRecord(*row)

"""How far the lines of far benches are taken, and what is held of their captures."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection, func, null, select

from storage.queries.streams import HEARD, ChunkRecord
from storage.schema import capture, chunk, far_part, frame, position

_NAME: Final = "far."


@dataclass(frozen=True, slots=True)
class FarContinuation:
    """The newest part of a capture of a far bench."""

    number: int
    """Of the capture here."""
    device: str
    settings: str
    next_heard: int
    """Where the far bench's next heard byte lies in its capture. [bytes]"""
    next_sent: int
    """The same of the bytes that it sent. [bytes]"""
    tail: tuple[ChunkRecord, ...]
    """The heard bytes that no frame accounts for, at their offsets here."""


def far_position(line: str, store_id: str) -> str:
    """Return the name of the position up to which a line of a far bench's store is taken."""
    return f"{_NAME}{line}.{store_id}"


def far_place(connection: Connection, line: str) -> tuple[str, int] | None:
    """Return store and revision up to which a line is taken, of the store taken from last, or None."""
    begin = far_position(line, "")
    query = select(position.c.name, position.c.number).where(
        position.c.name.startswith(begin, autoescape=True)
    )
    places = {name.removeprefix(begin): number for name, number in connection.execute(query)}
    newest = (
        select(far_part.c.store_id)
        .join(capture, capture.c.number == far_part.c.number)
        .where(capture.c.line == line)
        .order_by(far_part.c.number.desc())
        .limit(1)
    )
    store = connection.execute(newest).scalar() or next(iter(places), None)
    return None if store is None else (store, places.get(store, 0))


def far_continuation(connection: Connection, line: str, store_id: str, number: int) -> FarContinuation | None:
    """Return the newest part that a line here holds of a capture of a far bench; None if it holds none."""
    query = (
        select(
            capture.c.number,
            capture.c.device,
            capture.c.settings,
            far_part.c.begin_heard,
            far_part.c.begin_sent,
        )
        .join(far_part, far_part.c.number == capture.c.number)
        .where(far_part.c.store_id == store_id, far_part.c.capture == number, capture.c.line == line)
        .order_by(capture.c.number.desc())
        .limit(1)
    )
    found = connection.execute(query).one_or_none()
    if found is None:
        return None
    here, device, settings, begin_heard, begin_sent = found
    accounted = connection.execute(
        select(func.max(frame.c.offset + frame.c.length)).where(
            frame.c.capture_number == here, frame.c.pour_number.is_(null())
        )
    ).scalar()
    return FarContinuation(
        here,
        device,
        settings,
        begin_heard + _end(connection, here, HEARD),
        begin_sent + _end(connection, here, "sent"),
        _behind(connection, here, accounted or 0),
    )


def _end(connection: Connection, number: int, direction: str) -> int:
    query = (
        select(chunk.c.offset + func.length(chunk.c.data))
        .where(chunk.c.capture_number == number, chunk.c.direction == direction)
        .order_by(chunk.c.number.desc())
        .limit(1)
    )
    return connection.execute(query).scalar() or 0


def _behind(connection: Connection, number: int, offset: int) -> tuple[ChunkRecord, ...]:
    """Return the heard chunks behind an offset, the first cut there."""
    query = (
        select(chunk.c.number, chunk.c.at_us, chunk.c.direction, chunk.c.offset, chunk.c.data)
        .where(chunk.c.capture_number == number, chunk.c.direction == HEARD)
        .where(chunk.c.offset + func.length(chunk.c.data) > offset)
        .order_by(chunk.c.number)
    )
    found = [ChunkRecord(*row) for row in connection.execute(query)]
    if found and found[0].offset < offset:
        first = found[0]
        cut = first.data[offset - first.offset :]
        found[0] = ChunkRecord(first.number, first.at_us, first.direction, offset, cut)
    return tuple(found)

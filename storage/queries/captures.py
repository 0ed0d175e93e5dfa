"""Captures, and how much each holds."""

from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Select, func, select

from storage.queries.readings import WITHDRAWN, current_only
from storage.queries.streams import HEARD, current_frames, shape_of
from storage.schema import capture, capture_end, chunk, driver, frame, reading


@dataclass(frozen=True, slots=True)
class CaptureRecord:
    """A capture with its end, if it has ended."""

    number: int
    line: str
    instrument: str
    driver_number: int
    driver: str
    driver_version: str
    device: str
    settings: str
    opened_at_us: int
    ended_at_us: int | None
    ending: str | None
    why: str | None
    heard_bytes: int | None
    sent_bytes: int | None


@dataclass(frozen=True, slots=True)
class CaptureCounts:
    """What a capture holds up to now."""

    heard_bytes: int
    sent_bytes: int
    frames_read: int
    frames_refused: int
    readings: int


_SELECT_CAPTURES: Final = (
    select(
        capture.c.number,
        capture.c.line,
        capture.c.instrument,
        capture.c.driver_number,
        driver.c.name.label("driver"),
        driver.c.version.label("driver_version"),
        capture.c.device,
        capture.c.settings,
        capture.c.opened_at_us,
        capture_end.c.ended_at_us,
        capture_end.c.ending,
        capture_end.c.why,
        capture_end.c.heard_bytes,
        capture_end.c.sent_bytes,
    )
    .select_from(capture)
    .join(driver, driver.c.number == capture.c.driver_number)
    .outerjoin(capture_end, capture_end.c.capture_number == capture.c.number)
)


def captures_before(
    connection: Connection, *, before: int | None, limit: int, line: str | None = None
) -> list[CaptureRecord]:
    """Return captures with a number below `before`, newest first."""
    statement: Select[Any] = _SELECT_CAPTURES.order_by(capture.c.number.desc()).limit(limit)
    if before is not None:
        statement = statement.where(capture.c.number < before)
    if line is not None:
        statement = statement.where(capture.c.line == line)
    return [CaptureRecord(*row) for row in connection.execute(statement)]


def last_end_of_line(connection: Connection, line: str) -> CaptureRecord | None:
    """Return the newest capture of a line if it has ended; None if the line was never open, or still is."""
    newest = captures_before(connection, before=None, limit=1, line=line)
    return newest[0] if newest and newest[0].ended_at_us is not None else None


def capture_by_number(connection: Connection, number: int) -> CaptureRecord | None:
    """Return one capture, or None."""
    statement: Select[Any] = _SELECT_CAPTURES.where(capture.c.number == number)
    return next((CaptureRecord(*row) for row in connection.execute(statement)), None)


def capture_counts(connection: Connection, number: int) -> CaptureCounts:
    """Count what a capture holds; walks its index, so it is for one capture at a time."""
    heard, sent = stream_bytes(connection, number)
    by_outcome = (
        select(frame.c.outcome, func.count())
        .where(current_frames(shape_of(connection, number), number))
        .group_by(frame.c.outcome)
    )
    outcomes: dict[str, int] = {row[0]: row[1] for row in connection.execute(by_outcome)}
    readings = connection.execute(
        select(func.count())
        .select_from(reading)
        .where(reading.c.capture_number == number, current_only(), reading.c.outcome != WITHDRAWN)
    ).scalar_one()
    return CaptureCounts(heard, sent, outcomes.get("read", 0), outcomes.get("refused", 0), readings)


def stream_bytes(connection: Connection, number: int) -> tuple[int, int]:
    """Return how many bytes of a capture were heard and sent. [bytes]"""
    heard, sent = (_end_of_stream(connection, number, direction) for direction in (HEARD, "sent"))
    return heard, sent


def _end_of_stream(connection: Connection, capture_number: int, direction: str) -> int:
    last = connection.execute(
        select(chunk.c.offset + func.length(chunk.c.data))
        .where(chunk.c.capture_number == capture_number, chunk.c.direction == direction)
        .order_by(chunk.c.number.desc())
        .limit(1)
    ).scalar()
    return int(last or 0)

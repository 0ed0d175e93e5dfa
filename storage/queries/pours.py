"""What a pour needs of a store: captures, their frames as they stand, and what was read in them."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, Row, Select, and_, func, or_, select

from storage.queries.streams import current_frames, shape_of
from storage.schema import capture, capture_end, driver, frame, ledger, pour, pour_capture, reading


@dataclass(frozen=True, slots=True)
class PourScope:
    """Which captures are wanted; None asks for all."""

    line: str | None = None
    capture_number: int | None = None
    driver: str | None = None
    """Only those that were read by a driver of this name."""
    from_us: int | None = None
    to_us: int | None = None
    """Only those that were open at some time between. [µs]"""


class PouredCapture(NamedTuple):
    """A capture that may be poured."""

    number: int
    line: str
    instrument: str
    ended_at_us: int | None
    ending: str | None
    end_number: int | None
    """Ledger number of its end."""


class StandingFrame(NamedTuple):
    """A frame of a capture as it stands now."""

    number: int
    ordinal: int
    offset: int
    length: int
    outcome: str
    reason: str | None


class StandingReading(NamedTuple):
    """The newest version of a reading."""

    offset: int
    """Of its frame. [bytes]"""
    reading_id: int
    version: int
    frame_number: int
    frame_ordinal: int
    position: int
    at_us: int
    quantity: str
    outcome: str
    value_text: str
    value_numeral: str | None
    value: float | None
    unit: str
    sample: str | None
    sequence: str | None
    instrument_time: str | None
    mode: str | None
    stable: int | None


@dataclass(frozen=True, slots=True)
class PourRecord:
    """A pour, with what it changed in the captures that it came to the end of."""

    number: int
    at_us: int
    actor: str
    reason: str | None
    driver_number: int
    driver: str
    driver_version: str
    scope: str
    captures: int
    changed: int
    added: int
    withdrawn: int


def captures_in_scope(
    connection: Connection, scope: PourScope, *, after: int, limit: int
) -> list[PouredCapture]:
    """Return the next captures of a scope after a number, oldest first."""
    statement = (
        select(
            capture.c.number,
            capture.c.line,
            capture.c.instrument,
            capture_end.c.ended_at_us,
            capture_end.c.ending,
            capture_end.c.number.label("end_number"),
        )
        .join(driver, driver.c.number == capture.c.driver_number)
        .outerjoin(capture_end, capture_end.c.capture_number == capture.c.number)
        .where(capture.c.number > after, *_conditions(scope))
        .order_by(capture.c.number)
        .limit(limit)
    )
    return [PouredCapture(*row) for row in connection.execute(statement)]


def _conditions(scope: PourScope) -> Iterable[Any]:
    if scope.line is not None:
        yield capture.c.line == scope.line
    if scope.capture_number is not None:
        yield capture.c.number == scope.capture_number
    if scope.driver is not None:
        yield driver.c.name == scope.driver
    if scope.from_us is not None:
        yield or_(capture_end.c.ended_at_us.is_(None), capture_end.c.ended_at_us >= scope.from_us)
    if scope.to_us is not None:
        yield capture.c.opened_at_us < scope.to_us


def standing_frames(
    connection: Connection, capture_number: int, *, begin: int, end: int
) -> list[StandingFrame]:
    """Return the frames of a capture that begin between two offsets, in order. [bytes]"""
    statement = (
        select(*(frame.c[name] for name in StandingFrame._fields))
        .where(current_frames(shape_of(connection, capture_number), capture_number))
        .where(frame.c.offset >= begin, frame.c.offset < end)
        .order_by(frame.c.offset)
    )
    return [StandingFrame(*row) for row in connection.execute(statement)]


def standing_readings(
    connection: Connection, of: PouredCapture, *, begin: int, end: int
) -> list[StandingReading]:
    """Return the newest version of each reading whose frame begins between two offsets. [bytes]

    They come in the order of their frames; what was withdrawn is among them. All versions of a reading are of
    frames that begin at the same byte.
    """
    rows: list[Row[Any]] = []
    if (bounds := _entries_between(connection, of, begin, end)) is not None:
        found = connection.execute(readings_heard(of.number, *bounds))
        rows += [row for row in found if begin <= row.offset < end]
    rows += connection.execute(readings_poured(of.number, begin, end)).all()
    rows.sort(key=lambda row: (row.offset, row.reading_id, row.version))
    newest = [list(versions)[-1] for _, versions in groupby(rows, key=lambda row: row.reading_id)]
    standing = [StandingReading._make(row) for row in newest]
    return sorted(standing, key=lambda one: (one.offset, one.position, one.reading_id))


_SELECT_READINGS: Final[Select[Any]] = select(
    frame.c.offset, *(reading.c[name] for name in StandingReading._fields if name != "offset")
).join(frame, and_(frame.c.number == reading.c.frame_number, frame.c.ordinal == reading.c.frame_ordinal))


def readings_heard(capture_number: int, after: int, before: int | None) -> Select[Any]:
    """Return the query of what was read live between two entries.

    Frames are not chosen by their place: SQLite would go through all those readings for each frame.
    """
    statement = _SELECT_READINGS.where(
        reading.c.number > after,
        reading.c.capture_number == capture_number,
        reading.c.pour_number.is_(None),
    )
    return statement if before is None else statement.where(reading.c.number < before)


def readings_poured(capture_number: int, begin: int, end: int) -> Select[Any]:
    """Return the query of what pours made of frames between two offsets. [bytes]"""
    return _SELECT_READINGS.where(
        reading.c.pour_number.is_not(None),
        reading.c.capture_number == capture_number,
        frame.c.capture_number == capture_number,
        frame.c.offset >= begin,
        frame.c.offset < end,
    )


def _entries_between(
    connection: Connection, of: PouredCapture, begin: int, end: int
) -> tuple[int, int | None] | None:
    """Return between which ledger numbers the readings of some frames were heard live; None if none were.

    They follow the entry of their frame and stand before that of the next frames.
    """
    live = (frame.c.capture_number == of.number, frame.c.pour_number.is_(None))
    inside = (*live, frame.c.offset >= begin, frame.c.offset < end)
    first, last = connection.execute(
        select(func.min(frame.c.number), func.max(frame.c.number)).where(*inside)
    ).one()
    if first is None:
        return None
    following = connection.execute(
        select(frame.c.number)
        .where(*live, frame.c.offset >= end, frame.c.number > last)
        .order_by(frame.c.offset)
        .limit(1)
    ).scalar()
    return first, following or of.end_number


def pours_before(connection: Connection, *, before: int | None, limit: int) -> list[PourRecord]:
    """Return pours with a number below `before`, newest first."""
    sums = (func.count(pour_capture.c.number), *map(_sum, ("changed", "added", "withdrawn")))
    keys = (
        pour.c.number,
        ledger.c.at_us,
        ledger.c.actor,
        ledger.c.reason,
        pour.c.driver_number,
        driver.c.name,
        driver.c.version,
        pour.c.scope,
    )
    statement: Select[Any] = (
        select(*keys, *sums)
        .join(ledger, ledger.c.number == pour.c.number)
        .join(driver, driver.c.number == pour.c.driver_number)
        .outerjoin(pour_capture, pour_capture.c.pour_number == pour.c.number)
        .group_by(*keys)
        .order_by(pour.c.number.desc())
        .limit(limit)
    )
    if before is not None:
        statement = statement.where(pour.c.number < before)
    return [PourRecord(*row) for row in connection.execute(statement)]


def was_stopped(connection: Connection, capture_number: int, reason: str) -> bool:
    """Tell whether frames of a capture were refused live for a reason."""
    statement = select(frame.c.number).where(
        frame.c.capture_number == capture_number,
        frame.c.pour_number.is_(None),
        frame.c.reason == reason,
    )
    return connection.execute(statement.limit(1)).scalar() is not None


def _sum(name: str) -> Any:
    return func.coalesce(func.sum(pour_capture.c[name]), 0)

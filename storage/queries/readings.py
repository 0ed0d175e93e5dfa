"""Readings and their versions, with what step 2 made of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, Select, and_, bindparam, exists, func, or_, select

from storage.schema import capture, reading, taken
from storage.schema import position as places

WITHDRAWN: Final = "withdrawn"
"""Outcome of a version by which a corrected driver took a reading back: its frame says no such thing."""


@dataclass(frozen=True, slots=True)
class ReadingFilter:
    """Which readings are wanted; None asks for all."""

    instrument: str | None = None
    line: str | None = None
    quantity: str | None = None
    outcome: str | None = None
    sample: str | None = None
    from_us: int | None = None
    to_us: int | None = None
    """Exclusive. [µs]"""
    with_withdrawn: bool = False
    """Whether readings come too that a corrected driver took back; only who may have seen them wants that."""


class ReadingRecord(NamedTuple):
    """One version of a reading with what step 2 made of it."""

    number: int
    """The revision."""
    reading_id: int
    version: int
    capture_number: int
    frame_number: int
    frame_ordinal: int
    position: int
    line: str
    instrument: str
    driver_number: int
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
    stable: bool | None
    is_taken: bool
    normal_text: str | None
    normal_value: float | None
    normal_unit: str | None
    note: str | None


class UntakenReading(NamedTuple):
    """What step 2 needs of a reading."""

    number: int
    reading_id: int
    version: int
    instrument: str
    at_us: int
    """When its frame came. [µs]"""
    quantity: str
    outcome: str
    value_text: str
    value_numeral: str | None
    unit: str
    sample: str | None = None
    sequence: str | None = None
    instrument_time: str | None = None
    mode: str | None = None
    stable: bool | None = None
    position: int = 0
    """Its place in its frame."""


_newer: Final = reading.alias("newer")
_is_current: Final = ~exists().where(
    _newer.c.reading_id == reading.c.reading_id, _newer.c.version > reading.c.version, _newer.c.version > 1
)
_SELECT_READINGS: Final = (
    select(
        reading.c.number,
        reading.c.reading_id,
        reading.c.version,
        reading.c.capture_number,
        reading.c.frame_number,
        reading.c.frame_ordinal,
        reading.c.position,
        capture.c.line,
        reading.c.instrument,
        reading.c.driver_number,
        reading.c.at_us,
        reading.c.quantity,
        reading.c.outcome,
        reading.c.value_text,
        reading.c.value_numeral,
        reading.c.value,
        reading.c.unit,
        reading.c.sample,
        reading.c.sequence,
        reading.c.instrument_time,
        reading.c.mode,
        (reading.c.stable != 0).label("stable"),
        taken.c.reading_number.is_not(None).label("is_taken"),
        taken.c.normal_text,
        taken.c.normal_value,
        taken.c.normal_unit,
        taken.c.note,
    )
    .select_from(reading)
    .join(capture, capture.c.number == reading.c.capture_number)
    .outerjoin(taken, taken.c.reading_number == reading.c.number)
)


def filter_conditions(wanted: ReadingFilter) -> list[Any]:
    """Return the conditions of a filter on the tables `reading` and `capture`."""
    pairs = (
        (reading.c.instrument, wanted.instrument),
        (capture.c.line, wanted.line),
        (reading.c.quantity, wanted.quantity),
        (reading.c.outcome, wanted.outcome),
        (reading.c.sample, wanted.sample),
    )
    conditions: list[Any] = [column == value for column, value in pairs if value is not None]
    if not (wanted.with_withdrawn or wanted.outcome == WITHDRAWN):
        conditions.append(reading.c.outcome != WITHDRAWN)
    if wanted.from_us is not None:
        conditions.append(reading.c.at_us >= wanted.from_us)
    if wanted.to_us is not None:
        conditions.append(reading.c.at_us < wanted.to_us)
    return conditions


def current_only() -> Any:
    """Return the condition that a reading has no newer version."""
    return _is_current


@lru_cache(maxsize=64)
def _page(wanted: ReadingFilter) -> Select[Any]:
    """Return the query of a page of readings, put together once for all pages of a walk."""
    return (
        _SELECT_READINGS.where(_is_current, *filter_conditions(wanted))
        .where(reading.c.number > bindparam("after"), reading.c.number <= bindparam("up_to"))
        .order_by(reading.c.number)
        .limit(bindparam("limit"))
    )


def _records(rows: Iterable[Any]) -> list[ReadingRecord]:
    return list(map(ReadingRecord._make, rows))


def readings_after(
    connection: Connection, wanted: ReadingFilter, *, after: int, up_to: int, limit: int
) -> list[ReadingRecord]:
    """Return current readings with `after` < revision <= `up_to`, oldest revision first."""
    place = {"after": after, "up_to": up_to, "limit": limit}
    return _records(connection.execute(_page(wanted), place).all())


def newest_readings(connection: Connection, wanted: ReadingFilter, *, limit: int) -> list[ReadingRecord]:
    """Return the current readings with the highest revisions, newest first."""
    statement = (
        _SELECT_READINGS.where(_is_current, *filter_conditions(wanted))
        .order_by(reading.c.number.desc())
        .limit(limit)
    )
    return _records(connection.execute(statement).all())


def readings_by_number(connection: Connection, numbers: Sequence[int]) -> list[ReadingRecord]:
    """Return versions of readings by their revisions, oldest first; those that are not there are left out."""
    statement = _SELECT_READINGS.where(reading.c.number.in_(numbers)).order_by(reading.c.number)
    return _records(connection.execute(statement).all())


def count_readings(
    connection: Connection, wanted: ReadingFilter, *, after: int, up_to: int, limit: int
) -> int:
    """Return how many current readings there are, counting no further than `limit`."""
    inner = (
        select(reading.c.number)
        .select_from(reading.join(capture, capture.c.number == reading.c.capture_number))
        .where(_is_current, *filter_conditions(wanted))
        .where(reading.c.number > after, reading.c.number <= up_to)
        .limit(limit)
        .subquery()
    )
    return connection.execute(select(func.count()).select_from(inner)).scalar_one()


def readings_revision(connection: Connection) -> int:
    """Return the ledger number of what last changed what readings show: a version, or its taking in."""
    newest = (connection.execute(select(func.max(table.c.number))).scalar() for table in (reading, taken))
    return max(number or 0 for number in newest)


def reading_versions(connection: Connection, reading_id: int) -> list[ReadingRecord]:
    """Return every version of a reading, oldest first; empty if there is no such reading."""
    statement = _SELECT_READINGS.where(
        or_(
            reading.c.number == reading_id,
            and_(reading.c.reading_id == reading_id, reading.c.version > 1),
        ),
        reading.c.reading_id == reading_id,
    ).order_by(reading.c.version)
    return _records(connection.execute(statement).all())


_SELECT_UNTAKEN: Final = (
    select(*(reading.c[name] for name in UntakenReading._fields))
    .where(reading.c.number > bindparam("after"))
    .order_by(reading.c.number)
    .limit(bindparam("limit"))
)


def untaken_readings(connection: Connection, *, after: int, limit: int) -> list[UntakenReading]:
    """Return the next reading versions after a number, in order."""
    found = connection.execute(_SELECT_UNTAKEN, {"after": after, "limit": limit})
    return list(map(UntakenReading._make, found))


def last_with_time(connection: Connection, before: UntakenReading) -> UntakenReading | None:
    """Return the last reading of an instrument before one that told the instrument's own time."""
    statement = (
        select(*(reading.c[name] for name in UntakenReading._fields))
        .where(
            reading.c.instrument == before.instrument,
            reading.c.number < before.number,
            reading.c.instrument_time.is_not(None),
        )
        .order_by(reading.c.number.desc())
        .limit(1)
    )
    row = connection.execute(statement).one_or_none()
    return None if row is None else UntakenReading._make(row)


def untaken_by_id(connection: Connection, reading_ids: Sequence[int]) -> list[UntakenReading]:
    """Return what step 2 needs of some readings, each in its current version, in order."""
    query = (
        select(*(reading.c[name] for name in UntakenReading._fields))
        .where(
            or_(
                reading.c.number.in_(reading_ids),
                and_(reading.c.reading_id.in_(reading_ids), reading.c.version > 1),
            ),
            reading.c.reading_id.in_(reading_ids),
            _is_current,
        )
        .order_by(reading.c.number)
    )
    return list(map(UntakenReading._make, connection.execute(query)))


def position(connection: Connection, name: str) -> int:
    """Return how far a step has come; 0 before its first."""
    return connection.execute(select(places.c.number).where(places.c.name == name)).scalar() or 0

"""What readers ask: short, read-only, by keyset on the ledger number; rows come out as frozen values.

Times are microseconds since 1970 UTC. [µs]
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Select, and_, exists, func, or_, select

from storage.schema import (
    capture,
    capture_end,
    chunk,
    driver,
    fault,
    frame,
    gap,
    ledger,
    reading,
    store_info,
    taken,
)
from storage.schema import position as places

HEARD: Final = "heard"


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


@dataclass(frozen=True, slots=True)
class ReadingRecord:
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


@dataclass(frozen=True, slots=True)
class UntakenReading:
    """What step 2 needs of a reading."""

    number: int
    quantity: str
    outcome: str
    value_numeral: str | None
    unit: str


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


@dataclass(frozen=True, slots=True)
class GapRecord:
    """Time in which a line was not heard."""

    number: int
    line: str
    instrument: str
    begin_us: int
    end_us: int
    why: str
    lost_bytes: int | None


@dataclass(frozen=True, slots=True)
class FaultRecord:
    """Something of ours that failed."""

    number: int
    capture_number: int | None
    line: str | None
    source: str
    text: str


@dataclass(frozen=True, slots=True)
class LedgerRecord:
    """One entry of the ledger."""

    number: int
    at_us: int
    actor: str
    actor_kind: str
    action: str
    reason: str | None
    digest: bytes
    link: bytes


@dataclass(frozen=True, slots=True)
class StoreInfo:
    """What the store is."""

    store_id: str
    kind: str
    created_at_us: int


@dataclass(frozen=True, slots=True)
class DriverRecord:
    """A driver that has read something."""

    number: int
    name: str
    version: str
    definition_sha256: str
    definition: str


@dataclass(frozen=True, slots=True)
class InstrumentRecord:
    """An instrument that was heard at least once."""

    instrument: str
    lines: tuple[str, ...]
    drivers: tuple[str, ...]
    last_opened_us: int


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
        reading.c.stable,
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
    if wanted.from_us is not None:
        conditions.append(reading.c.at_us >= wanted.from_us)
    if wanted.to_us is not None:
        conditions.append(reading.c.at_us < wanted.to_us)
    return conditions


def current_only() -> Any:
    """Return the condition that a reading has no newer version."""
    return _is_current


def _reading_record(row: Any) -> ReadingRecord:
    fields = row._asdict()
    fields["stable"] = None if row.stable is None else bool(row.stable)
    fields["is_taken"] = bool(row.is_taken)
    return ReadingRecord(**fields)


def readings_after(
    connection: Connection, wanted: ReadingFilter, *, after: int, up_to: int, limit: int
) -> list[ReadingRecord]:
    """Return current readings with `after` < revision <= `up_to`, oldest revision first."""
    statement = (
        _SELECT_READINGS.where(_is_current, *filter_conditions(wanted))
        .where(reading.c.number > after, reading.c.number <= up_to)
        .order_by(reading.c.number)
        .limit(limit)
    )
    return [_reading_record(row) for row in connection.execute(statement)]


def newest_readings(connection: Connection, wanted: ReadingFilter, *, limit: int) -> list[ReadingRecord]:
    """Return the current readings with the highest revisions, newest first."""
    statement = (
        _SELECT_READINGS.where(_is_current, *filter_conditions(wanted))
        .order_by(reading.c.number.desc())
        .limit(limit)
    )
    return [_reading_record(row) for row in connection.execute(statement)]


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


def reading_versions(connection: Connection, reading_id: int) -> list[ReadingRecord]:
    """Return every version of a reading, oldest first; empty if there is no such reading."""
    statement = _SELECT_READINGS.where(
        or_(
            reading.c.number == reading_id,
            and_(reading.c.reading_id == reading_id, reading.c.version > 1),
        ),
        reading.c.reading_id == reading_id,
    ).order_by(reading.c.version)
    return [_reading_record(row) for row in connection.execute(statement)]


def untaken_readings(connection: Connection, *, after: int, limit: int) -> list[UntakenReading]:
    """Return the next reading versions after a number, in order."""
    statement = (
        select(
            reading.c.number, reading.c.quantity, reading.c.outcome, reading.c.value_numeral, reading.c.unit
        )
        .where(reading.c.number > after)
        .order_by(reading.c.number)
        .limit(limit)
    )
    return [UntakenReading(*row) for row in connection.execute(statement)]


def position(connection: Connection, name: str) -> int:
    """Return how far a step has come; 0 before its first."""
    return connection.execute(select(places.c.number).where(places.c.name == name)).scalar() or 0


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
    heard, sent = (_stream_bytes(connection, number, direction) for direction in (HEARD, "sent"))
    by_outcome = (
        select(frame.c.outcome, func.count())
        .where(frame.c.capture_number == number)
        .group_by(frame.c.outcome)
    )
    outcomes: dict[str, int] = {row[0]: row[1] for row in connection.execute(by_outcome)}
    readings = connection.execute(
        select(func.count()).select_from(reading).where(reading.c.capture_number == number)
    ).scalar_one()
    return CaptureCounts(heard, sent, outcomes.get("read", 0), outcomes.get("refused", 0), readings)


def _stream_bytes(connection: Connection, capture_number: int, direction: str) -> int:
    last = connection.execute(
        select(chunk.c.offset + func.length(chunk.c.data))
        .where(chunk.c.capture_number == capture_number, chunk.c.direction == direction)
        .order_by(chunk.c.number.desc())
        .limit(1)
    ).scalar()
    return int(last or 0)


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
    """Return the bytes of a frame: it ends with the chunk that completed it, so walk back from there."""
    statement = (
        select(chunk.c.offset, chunk.c.data)
        .where(chunk.c.capture_number == found.capture_number, chunk.c.direction == HEARD)
        .where(chunk.c.number <= found.number)
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
        _SELECT_FRAMES.where(frame.c.capture_number == capture_number, frame.c.offset >= offset)
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


def driver_by_number(connection: Connection, number: int) -> DriverRecord | None:
    """Return a driver as it was when it was first used, or None."""
    row = connection.execute(select(driver).where(driver.c.number == number)).one_or_none()
    return None if row is None else DriverRecord(*row)


def driver_number(connection: Connection, name: str, version: str, definition_sha256: str) -> int | None:
    """Return the entry of exactly this driver, or None if it was never used."""
    statement = select(driver.c.number).where(
        driver.c.name == name,
        driver.c.version == version,
        driver.c.definition_sha256 == definition_sha256,
    )
    return connection.execute(statement).scalar()


def drivers(connection: Connection) -> list[DriverRecord]:
    """Return every driver that was ever used."""
    return [DriverRecord(*row) for row in connection.execute(select(driver).order_by(driver.c.number))]


def gaps_before(
    connection: Connection, *, before: int | None, limit: int, line: str | None = None
) -> list[GapRecord]:
    """Return gaps with a number below `before`, newest first."""
    statement = select(gap).order_by(gap.c.number.desc()).limit(limit)
    if before is not None:
        statement = statement.where(gap.c.number < before)
    if line is not None:
        statement = statement.where(gap.c.line == line)
    return [GapRecord(*row) for row in connection.execute(statement)]


def faults_before(connection: Connection, *, before: int | None, limit: int) -> list[FaultRecord]:
    """Return faults with a number below `before`, newest first."""
    statement = select(fault).order_by(fault.c.number.desc()).limit(limit)
    if before is not None:
        statement = statement.where(fault.c.number < before)
    return [FaultRecord(*row) for row in connection.execute(statement)]


def instruments(connection: Connection) -> list[InstrumentRecord]:
    """Return every instrument that was ever heard, by name."""
    rows = connection.execute(
        select(capture.c.instrument, capture.c.line, driver.c.name, func.max(capture.c.opened_at_us))
        .join(driver, driver.c.number == capture.c.driver_number)
        .group_by(capture.c.instrument, capture.c.line, driver.c.name)
        .order_by(capture.c.instrument)
    ).all()
    return [_instrument_record(name, rows) for name in dict.fromkeys(row[0] for row in rows)]


def _instrument_record(name: str, rows: Sequence[Any]) -> InstrumentRecord:
    own = [row for row in rows if row[0] == name]
    return InstrumentRecord(
        name,
        tuple(dict.fromkeys(row[1] for row in own)),
        tuple(dict.fromkeys(row[2] for row in own)),
        max(row[3] for row in own),
    )


def instrument_quantities(connection: Connection, instrument: str) -> list[str]:
    """Return the quantities that an instrument ever gave."""
    statement = (
        select(reading.c.quantity)
        .where(reading.c.instrument == instrument)
        .distinct()
        .order_by(reading.c.quantity)
    )
    return list(connection.execute(statement).scalars())


def head(connection: Connection) -> int:
    """Return the number of the last ledger entry; 0 in an empty store."""
    return connection.execute(select(func.max(ledger.c.number))).scalar() or 0


def ledger_after(connection: Connection, *, after: int, limit: int) -> list[LedgerRecord]:
    """Return the ledger entries after a number, in order."""
    statement = select(ledger).where(ledger.c.number > after).order_by(ledger.c.number).limit(limit)
    return [LedgerRecord(*row) for row in connection.execute(statement)]


def info(connection: Connection) -> StoreInfo:
    """Return what the store is."""
    row = connection.execute(
        select(store_info.c.store_id, store_info.c.kind, store_info.c.created_at_us)
    ).one()
    return StoreInfo(*row)

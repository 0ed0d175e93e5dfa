"""Streams of readings, and what came to rest in them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection, select

from storage.queries.readings import UntakenReading
from storage.schema import reading, settled


@dataclass(frozen=True, slots=True)
class SettledRecord:
    """A reading that was made the one of record."""

    number: int
    reading_id: int
    first_reading_id: int
    readings: int
    instrument: str
    quantity: str
    at_us: int
    how: str
    verdict: str
    rule: str | None
    """JSON."""
    span: float | None
    drift_per_s: float | None
    waited_s: float | None


_SELECT_SETTLED: Final = select(*(settled.c[name] for name in SettledRecord.__slots__))


def last_settled(connection: Connection, instrument: str, quantity: str) -> SettledRecord | None:
    """Return what was last made the reading of record of a quantity of an instrument."""
    statement = (
        _SELECT_SETTLED.where(settled.c.instrument == instrument, settled.c.quantity == quantity)
        .order_by(settled.c.number.desc())
        .limit(1)
    )
    row = connection.execute(statement).one_or_none()
    return None if row is None else SettledRecord(*row)


def tapped_among(connection: Connection, reading_ids: Sequence[int]) -> set[int]:
    """Return those of some readings that somebody took; they follow each other, and there may be many."""
    if not reading_ids:
        return set()
    statement = select(settled.c.reading_id).where(
        settled.c.reading_id >= reading_ids[0],
        settled.c.reading_id <= reading_ids[-1],
        settled.c.how == "person",
    )
    return set(connection.execute(statement).scalars())


def settled_after(
    connection: Connection, *, after: int, limit: int, instrument: str | None = None
) -> list[SettledRecord]:
    """Return what was made a reading of record after a ledger number, oldest first."""
    statement = _SELECT_SETTLED.where(settled.c.number > after).order_by(settled.c.number).limit(limit)
    if instrument is not None:
        statement = statement.where(settled.c.instrument == instrument)
    return [SettledRecord(*row) for row in connection.execute(statement)]


def stream_before(
    connection: Connection, instrument: str, quantity: str, *, before: int, from_us: int, limit: int
) -> list[UntakenReading]:
    """Return the newest readings of a stream before a number and not before a moment, oldest first. [µs]"""
    statement = (
        select(*(reading.c[name] for name in UntakenReading._fields))
        .where(
            reading.c.instrument == instrument,
            reading.c.quantity == quantity,
            reading.c.number < before,
            reading.c.version == 1,
            reading.c.at_us >= from_us,
        )
        .order_by(reading.c.number.desc())
        .limit(limit)
    )
    return [UntakenReading._make(row) for row in connection.execute(statement)][::-1]

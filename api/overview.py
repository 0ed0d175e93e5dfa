"""What the bench page shows: the newest answer of each instrument, and how it moves."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection

from api.trend import Trend, trend
from storage import queries
from storage.queries import ReadingFilter, ReadingRecord

TABLE_ROWS: Final = 16
NEWEST_EACH: Final = 8  # of each instrument, so that a streaming one does not push the others off the table
TREND_READINGS: Final = 240
STREAMING_FROM: Final = 12  # readings, before a quantity may be drawn
STREAMING_PACE_US: Final = 60_000_000  # mean distance up to which readings are a stream, not samples [µs]

MEANS: Final = frozenset({"current", "dispensed_volume", "duration", "potential", "temperature"})
"""Quantities that lead to an answer; beside one, they are shown small."""


@dataclass(frozen=True, slots=True)
class InstrumentNow:
    """One instrument: the readings of its newest frame, and a trend if it streams."""

    instrument: str
    first: ReadingRecord
    beside: tuple[ReadingRecord, ...]
    trend: Trend | None
    trend_count: int
    trend_span_us: int
    """Time that the trend covers. [µs]"""


@dataclass(frozen=True, slots=True)
class Overview:
    """Everything on the bench page that comes from the store."""

    instruments: tuple[InstrumentNow, ...]
    newest: tuple[ReadingRecord, ...]


def read_overview(connection: Connection) -> Overview:
    """Return the newest readings, by instrument and together."""
    names = [record.instrument for record in queries.instruments(connection)]
    newest = {
        name: queries.newest_readings(connection, ReadingFilter(instrument=name), limit=NEWEST_EACH)
        for name in names
    }
    together = sorted(
        (record for records in newest.values() for record in records),
        key=lambda record: record.number,
        reverse=True,
    )
    shown = tuple(_instrument(connection, name, records) for name, records in newest.items() if records)
    return Overview(shown, tuple(together[:TABLE_ROWS]))


def _instrument(connection: Connection, name: str, newest: Sequence[ReadingRecord]) -> InstrumentNow:
    first, *beside = _of_newest_frame(newest)
    wanted = ReadingFilter(instrument=name, quantity=first.quantity)
    recent = queries.newest_readings(connection, wanted, limit=TREND_READINGS)[::-1]
    span_us = recent[-1].at_us - recent[0].at_us
    return InstrumentNow(name, first, tuple(beside), _drawn(recent, span_us), len(recent), span_us)


def _of_newest_frame(newest: Sequence[ReadingRecord]) -> list[ReadingRecord]:
    """Return the readings of the newest frame, answers first, else as the instrument ordered them."""
    frame = (newest[0].frame_number, newest[0].frame_ordinal)
    own = [record for record in newest if (record.frame_number, record.frame_ordinal) == frame]
    return sorted(own, key=lambda record: (record.quantity in MEANS, record.position))


def _drawn(recent: Sequence[ReadingRecord], span_us: int) -> Trend | None:
    if len(recent) < STREAMING_FROM or span_us > STREAMING_PACE_US * len(recent):
        return None
    return trend([(record.at_us, _number(record)) for record in recent])


def _number(record: ReadingRecord) -> float | None:
    return record.value if record.outcome == "value" else None

"""What waits: places on trays, untied readings, numbers not fit for use, lots without a number.

Each question is answered by an index, whatever the size of the store.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, ScalarSelect, case, exists, func, select

from storage.queries.distinct import distinct
from storage.queries.readings import current_only
from storage.queries.tied_results import newest_sample, tied_by_people
from storage.schema import (
    ledger,
    reading,
    record_link,
    release,
    result,
    standing,
    taken,
    tie,
    tray_item,
)

TRAY_CHANGES: Final = 5000


@dataclass(frozen=True, slots=True)
class Untied:
    """Values of one instrument and quantity that belong to no sample."""

    instrument: str
    quantity: str
    count: int
    first_us: int
    last_us: int


def tray_waiting(connection: Connection) -> list[tuple[str, int, int]]:
    """Return instrument, count and since when of each tray on which something waits. [µs]

    The newest `TRAY_CHANGES` changes are looked through: what waited before them was forgotten long ago.
    """
    query = (
        select(tray_item.c.item_id, tray_item.c.instrument, tray_item.c.state)
        .order_by(tray_item.c.number.desc(), tray_item.c.ordinal.desc())
        .limit(TRAY_CHANGES)
    )
    newest: dict[int, tuple[str, str]] = {}
    for row in connection.execute(query):
        newest.setdefault(row.item_id, (row.instrument, row.state))
    waiting: dict[str, list[int]] = {}
    for item_id, (instrument, state) in newest.items():
        if state == "waiting":
            waiting.setdefault(instrument, []).append(item_id)
    first = [min(items) for items in waiting.values()]
    query_at = select(ledger.c.number, ledger.c.at_us).where(ledger.c.number.in_(first))
    since = {row.number: row.at_us for row in connection.execute(query_at)}
    return [(name, len(items), since[min(items)]) for name, items in sorted(waiting.items())]


def untied_readings(
    connection: Connection, quantities: Sequence[str], *, from_us: int, most: int
) -> list[Untied]:
    """Return the stable values that belong to no sample, by instrument and quantity. [µs]

    Of each instrument and quantity the newest `most` readings are looked at; a message that was sent again
    belongs to nobody, and is left out.
    """
    found = []
    for instrument in connection.execute(distinct(reading.c.instrument)).scalars().all():
        for quantity in quantities:
            newest = (
                select(
                    reading.c.number,
                    reading.c.reading_id,
                    reading.c.at_us,
                    reading.c.outcome,
                    reading.c.stable,
                )
                .where(reading.c.instrument == instrument, reading.c.quantity == quantity, current_only())
                .order_by(reading.c.number.desc())
                .limit(most)
                .subquery()
            )
            query = select(func.count(), func.min(newest.c.at_us), func.max(newest.c.at_us)).where(
                newest.c.at_us >= from_us,
                newest.c.outcome == "value",
                func.coalesce(newest.c.stable, 1) == 1,
                ~_has_sample(newest.c.reading_id),
                ~exists().where(
                    taken.c.reading_number == newest.c.reading_id, taken.c.repeat_of.is_not(None)
                ),
            )
            count, first_us, last_us = connection.execute(query).one()
            if count:
                found.append(Untied(instrument, quantity, count, first_us, last_us))
    return found


def _has_sample(reading_id: Any) -> ColumnElement[bool]:
    """Return the condition that a reading is settled: tied to a sample or an item, or untied on purpose."""
    newer = tie.alias("newer")
    behind = select(newer.c.number).where(
        newer.c.reading_id == tie.c.reading_id, newer.c.number > tie.c.number
    )
    settled = (tie.c.sample_id.is_not(None)) | (tie.c.item_id.is_not(None)) | (tie.c.how == "untie")
    return exists().where(tie.c.reading_id == reading_id, settled, ~behind.exists())


@dataclass(frozen=True, slots=True)
class JudgedResult:
    """What a result is now, as far as it decides whether something is to be done."""

    result_id: int
    sample_id: int | None
    at_us: int
    standing: str | None
    mark: str | None


def judged_since(connection: Connection, method_id: int, from_us: int) -> list[JudgedResult]:
    """Return the results of a method that were measured since a moment, as they stand now. [µs]"""
    query = (
        select(
            result.c.number,
            _sample_now(result),
            result.c.at_us,
            _newest_standing(result.c.number),
            _newest_mark(result.c.number),
        )
        .where(result.c.method_id == method_id, result.c.at_us >= from_us)
        .order_by(result.c.number)
    )
    return [JudgedResult(*row) for row in connection.execute(query).all()]


def _sample_now(of: Any) -> ColumnElement[Any]:
    return case((tied_by_people(of).exists(), newest_sample(of)), else_=of.c.sample_id)


def _newest_standing(result_id: Any) -> ScalarSelect[Any]:
    return (
        select(standing.c.standing)
        .where(standing.c.result_id == result_id)
        .order_by(standing.c.number.desc())
        .limit(1)
        .scalar_subquery()
    )


def _newest_mark(result_id: Any) -> ScalarSelect[Any]:
    return (
        select(release.c.mark)
        .where(release.c.result_id == result_id)
        .order_by(release.c.number.desc())
        .limit(1)
        .scalar_subquery()
    )


def lots_measured_since(connection: Connection, quantity: str, from_us: int) -> set[int]:
    """Return the ids of the lots of which a quantity was measured since a moment. [µs]"""
    query = (
        select(record_link.c.target_id)
        .join(result, result.c.sample_id == record_link.c.record_id)
        .where(record_link.c.role == "lot", result.c.quantity == quantity, result.c.at_us >= from_us)
        .distinct()
    )
    return set(connection.execute(query).scalars())

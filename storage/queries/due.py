"""What waits: places on trays, untied readings, numbers not fit for use, lots without a number.

Each question is answered by an index, whatever the size of the store.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

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


@dataclass(frozen=True, slots=True)
class Untied:
    """Values of one instrument and quantity that belong to no sample."""

    instrument: str
    quantity: str
    count: int
    first_us: int
    last_us: int


def tray_waiting(connection: Connection) -> list[tuple[str, int, int]]:
    """Return instrument, count and since when of each tray on which something waits. [µs]"""
    newer = tray_item.alias("newer")
    behind = select(newer.c.number).where(
        newer.c.item_id == tray_item.c.item_id, newer.c.version > tray_item.c.version
    )
    put = ledger.alias("put")
    query = (
        select(tray_item.c.instrument, func.count(), func.min(put.c.at_us))
        .join(put, put.c.number == tray_item.c.item_id)
        .where(tray_item.c.state == "waiting", ~behind.exists())
        .group_by(tray_item.c.instrument)
        .order_by(tray_item.c.instrument)
    )
    return [(row[0], row[1], row[2]) for row in connection.execute(query)]


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


def unfit_results(connection: Connection, method_id: int, from_us: int) -> list[tuple[int, int | None, int]]:
    """Return id, sample and moment of the results of a method that are not fit for use and not replaced. [µs]

    One that was rejected needs nothing, and neither does one that a later good result of its sample replaces.
    """
    later = result.alias("later")
    replaced = select(later.c.number).where(
        _sample_now(later) == _sample_now(result),
        later.c.method_id == result.c.method_id,
        later.c.at_us > result.c.at_us,
        _newest_standing(later.c.number).in_(("good", "provisional")),
    )
    query = (
        select(result.c.number, _sample_now(result), result.c.at_us)
        .where(
            result.c.method_id == method_id,
            result.c.at_us >= from_us,
            _newest_standing(result.c.number).in_(("do_not_use", "look_again")),
            func.coalesce(_newest_mark(result.c.number), "").not_in(("rejected", "released")),
            ~replaced.exists(),
        )
        .order_by(result.c.number)
    )
    return [(row[0], row[1], row[2]) for row in connection.execute(query)]


def unreleased_results(connection: Connection, method_id: int, from_us: int) -> list[tuple[int, int]]:
    """Return id and moment of the good results of a method that nobody has released or rejected. [µs]"""
    query = select(result.c.number, result.c.at_us).where(
        result.c.method_id == method_id,
        result.c.at_us >= from_us,
        _newest_standing(result.c.number) == "good",
        _newest_mark(result.c.number).is_(None),
    )
    return [(row[0], row[1]) for row in connection.execute(query)]


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

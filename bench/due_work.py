"""What is due of the work itself: holds, bottles, trays, untied readings, retests, reviews, lots."""

from collections.abc import Iterator, Sequence
from typing import Final

from sqlalchemy import Connection

from bench.canonical_json import from_text
from bench.due import DAY_US, DueItem
from bench.due_controls import in_use, in_words
from bench.evaluation import expiry_us
from bench.kinds.laboratory import Method, Reagent
from bench.outside_heard import instruments_of_others
from bench.parts import DERIVATIONS
from bench.records import Record
from storage.queries.due import (
    JudgedResult,
    judged_since,
    lots_measured_since,
    tray_waiting,
    untied_readings,
)
from storage.queries.holds import holds
from storage.queries.records import record_by_id, records_of_kind

EXPIRING_US: Final = 7 * DAY_US
"""A bottle that expires within it is told in time to order another. Our choice. [µs]"""
RETEST_US: Final = 14 * DAY_US
"""How far back numbers are looked through for retests and reviews. Our choice. [µs]"""
UNTIED_US: Final = DAY_US
"""How far back readings are looked through for ties. Our choice. [µs]"""
NEWEST: Final = 200
"""How many of the newest readings of each instrument and quantity are looked through."""
STREAM_FROM: Final = 12
STREAM_PACE_US: Final = 60_000_000
"""So many values so close together are a stream, in which a tap chooses: no titration is as quick. [µs]"""
LOT_US: Final = 30 * DAY_US
"""How long a finished wine may go without a number: monthly, common practice. [µs]"""
MOST_LOTS: Final = 100_000


def hold_items(connection: Connection) -> Iterator[DueItem]:
    """Yield the holds that nobody settled."""
    for one in holds(connection, open_only=True):
        where = one.instrument or "every instrument"
        yield DueItem(
            "hold.open", f"hold {one.number}", one.from_us, f"hold {one.number}, {where}", str(one.number)
        )


def shelf_items(
    methods: Sequence[Record[Method]], reagents: Sequence[Record[Reagent]], now_us: int
) -> Iterator[DueItem]:
    """Yield bottles that methods name and that are expired, or expire soon. [µs]"""
    used = in_use(methods)
    for one in reagents:
        end = expiry_us(one.body)
        if one.code not in used or end is None or end - now_us > EXPIRING_US:
            continue
        kind = "titrant" if one.body.reagent_kind == "titrant" else "reagent"
        if end < now_us:
            yield DueItem(
                f"{kind}.expired", one.code, end, f"{one.code} expired {in_words(now_us - end)} ago"
            )
        else:
            yield DueItem(
                f"{kind}.expiring", one.code, end, f"{one.code} expires in {in_words(end - now_us)}"
            )


def tray_items(connection: Connection) -> Iterator[DueItem]:
    """Yield each instrument on whose tray something waits."""
    for instrument, count, since_us in tray_waiting(connection):
        words = "1 place waits" if count == 1 else f"{count} places wait"
        yield DueItem("sample.waiting", instrument, since_us, f"{words} at {instrument}")


def untied_items(connection: Connection, methods: Sequence[Record[Method]], now_us: int) -> Iterator[DueItem]:
    """Yield each instrument with readings that a method would take and that belong to no sample. [µs]"""
    wanted = sorted({one.body.reading_quantity or one.body.quantity for one in methods})
    theirs = instruments_of_others(connection)
    for one in untied_readings(connection, wanted, from_us=now_us - UNTIED_US, most=NEWEST):
        is_stream = one.count >= STREAM_FROM and one.last_us - one.first_us <= STREAM_PACE_US * one.count
        if not is_stream and one.instrument not in theirs:
            evidence = f"{one.count} of {one.instrument}: {one.quantity.replace('_', ' ')}"
            yield DueItem("reading.untied", f"{one.instrument} {one.quantity}", one.first_us, evidence)


def result_items(connection: Connection, methods: Sequence[Record[Method]], now_us: int) -> Iterator[DueItem]:
    """Yield numbers that nothing fit for use has replaced, and those that wait for a second person. [µs]"""
    for one in methods:
        judged = judged_since(connection, one.record_id, now_us - RETEST_US)
        is_worked_out = one.body.formula in DERIVATIONS  # it is mended by mending what it stands on
        for of in [] if is_worked_out else unreplaced(judged):
            sample = None if of.sample_id is None else record_by_id(connection, of.sample_id)
            name = "no sample" if sample is None else sample.code
            evidence = f"{one.code} of {name}, result {of.result_id}"
            yield DueItem("result.retest", f"result {of.result_id}", of.at_us, evidence)
        if one.body.release == "second_person":
            waiting = [of.at_us for of in judged if of.standing == "good" and of.mark is None]
            if waiting:
                yield DueItem("result.review", one.code, min(waiting), f"{len(waiting)} by {one.code}")


def unreplaced(judged: Sequence[JudgedResult]) -> list[JudgedResult]:
    """Return the results that are not fit for use and that no later one of their sample replaces.

    What was rejected needs nothing, and neither does what a person released all the same.
    """
    replaced_until: dict[int, int] = {}
    for one in judged:
        if one.sample_id is not None and one.standing in ("good", "provisional"):
            replaced_until[one.sample_id] = max(one.at_us, replaced_until.get(one.sample_id, 0))
    return [
        one
        for one in judged
        if one.standing in ("do_not_use", "look_again")
        and one.mark not in ("rejected", "released")
        and one.at_us >= replaced_until.get(one.sample_id or 0, 0)
    ]


def lot_items(connection: Connection, now_us: int) -> Iterator[DueItem]:
    """Yield finished wines with a band for molecular SO2 whose free SO2 was not measured for a month. [µs]"""
    measured = lots_measured_since(connection, "free_so2", now_us - LOT_US)
    for one in records_of_kind(connection, "lot", retired=False, limit=MOST_LOTS):
        body = from_text(one.body)
        finished = body["is_dry"] and body["malolactic"] not in ("wanted", "under_way")
        has_band = body["molecular_low_mg_l"] is not None
        if finished and has_band and one.record_id not in measured and now_us - one.valid_from_us > LOT_US:
            yield DueItem("lot.unmeasured", one.code, 0, f"{one.code}, {body['name']}")

"""What is due in the cellar: additions that were planned and not made, and wines to be measured after one."""

from collections.abc import Iterator
from typing import Final

from sqlalchemy import Connection

from bench.additions_found import found_of, retest_of
from bench.due import DAY_US, DueItem
from bench.due_controls import in_words
from storage.queries.cellar import Addition, additions
from storage.queries.records import record_by_id

REACH_US: Final = 60 * DAY_US
"""How far back additions are looked through: what nobody measured by then was let be. Our choice. [µs]"""
SOON_US: Final = 2 * DAY_US
"""How long before a wine has settled its measurement is told. Our choice. [µs]"""
MOST_ADDITIONS: Final = 10_000


def addition_items(connection: Connection, now_us: int) -> Iterator[DueItem]:
    """Yield additions that wait to be made, and those after which the wine is to be measured. [µs]"""
    for one in additions(connection, limit=MOST_ADDITIONS):
        if now_us - one.planned_at_us > REACH_US:
            continue
        if one.state in ("planned", "weighed"):
            since = in_words(now_us - one.planned_at_us)
            evidence = f"{_lot(connection, one)}, addition {one.number}, {one.state} {since} ago"
            yield DueItem("addition.open", f"addition {one.number}", one.planned_at_us, evidence)
        elif one.state == "done":
            yield from _retest(connection, one, now_us)


def _retest(connection: Connection, one: Addition, now_us: int) -> Iterator[DueItem]:
    retest = retest_of(one, found_of(connection, one), now_us)
    if retest is None or retest.result_id is not None or retest.not_before_us - now_us > SOON_US:
        return
    state = "settles for some time yet" if retest.state == "settling" else retest.state
    evidence = f"{_lot(connection, one)} after addition {one.number}: {state}"
    yield DueItem("addition.retest", f"addition {one.number}", retest.not_before_us, evidence)


def _lot(connection: Connection, one: Addition) -> str:
    found = record_by_id(connection, one.lot_id)
    return "a lot" if found is None else found.code

"""The due list: everything that must be done now or soon, in its order, from one look at the store."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import Connection

from bench.due import DueItem, ranked
from bench.due_cellar import addition_items
from bench.due_controls import control_items
from bench.due_work import hold_items, lot_items, result_items, shelf_items, tray_items, untied_items
from bench.kinds.laboratory import Method, Reagent
from bench.outside_heard import unexplained_items
from bench.records import read
from storage.queries.records import records_of_kind

MOST_RECORDS: Final = 10_000


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the daemon knows that the store does not."""

    lines_not_open: tuple[tuple[str, str, int], ...] = field(default=())
    """Line, why in words, since when. [µs]"""
    store_why: str = ""
    """Why the store cannot be written; empty while it can."""
    is_backup_due: bool = False
    is_clock_in_step: bool = True


def due_list(connection: Connection, now_us: int, around: Surroundings) -> list[DueItem]:
    """Return everything that is due at a moment or soon after it, ranked. [µs]"""
    methods = [
        read(one, Method) for one in records_of_kind(connection, "method", retired=False, limit=MOST_RECORDS)
    ]
    reagents = [
        read(one, Reagent)
        for one in records_of_kind(connection, "reagent", retired=False, limit=MOST_RECORDS)
    ]
    return ranked(
        [
            *surrounding_items(around),
            *hold_items(connection),
            *control_items(connection, methods, reagents, now_us),
            *shelf_items(methods, reagents, now_us),
            *tray_items(connection),
            *untied_items(connection, methods, now_us),
            *unexplained_items(connection),
            *result_items(connection, methods, now_us),
            *addition_items(connection, now_us),
            *lot_items(connection, now_us),
        ]
    )


def surrounding_items(around: Surroundings) -> Iterator[DueItem]:
    """Yield what is due of the daemon itself."""
    if around.store_why:
        yield DueItem("store.not_written", "store", 0, around.store_why)
    if around.is_backup_due:
        yield DueItem("backup.due", "store", 0, "no copy of the last seven days is known")
    for line, why, since_us in around.lines_not_open:
        yield DueItem("line.not_open", line, since_us, f"{line}: {why}")

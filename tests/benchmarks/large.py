"""A store of ten million readings: how long the thread of a result, and a walk along the whole ledger, take.

It takes half an hour and some gigabytes of disk, so it is measured only where it is asked for by name.
"""

import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Future, wait
from functools import partial
from typing import Final

from storage.ledger import ActorKind
from storage.queries import head
from storage.rows import FrameRow, ReadingRow
from storage.store import Store
from storage.transaction import Transaction
from tests.benchmarks.desk import one_result, p99_ms, store_at
from tests.benchmarks.report import Figure
from tests.fakes.filled_store import NOON_US, Filler, OpenCapture
from tests.fakes.rest import rest_on

READINGS: Final = 20_000
A_FRAME: Final = 500
"""Readings of a frame, entered in one commit."""
TOGETHER: Final = 20
"""Commits that may wait for the writer."""
KIB_A_MIB: Final = 1024


def measure() -> Iterator[Figure]:
    """Fill a store, then measure."""
    with store_at() as (path, store), rest_on(store) as rest:
        number = one_result(store, rest)
        begun = time.monotonic()
        _fill(store)
        yield Figure(f"{READINGS:,} readings entered", READINGS / (time.monotonic() - begun), "1/s")
        yield Figure("  size of the store", path.stat().st_size / 2**30, "GiB")
        thread = p99_ms(lambda: rest.get(f"/results/{number}/thread"))
        yield Figure(f"thread of a result, {READINGS:,} readings", thread, "ms", 50)
        with store.reader() as connection:
            entries = head(connection)
        begun, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
        call = [sys.executable, "-c", "from tundish.cli import main; main()", "verify", str(path)]
        done = subprocess.run(call, check=True, capture_output=True, text=True)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        print(done.stdout.strip())
        yield Figure(f"tundish verify, {entries:,} entries", time.monotonic() - begun, "s")
        yield Figure(
            "  processor time", used.ru_utime + used.ru_stime - before.ru_utime - before.ru_stime, "s"
        )
        yield Figure("  most memory", used.ru_maxrss / KIB_A_MIB, "MiB", 300)


def _fill(store: Store) -> None:
    """Enter the readings of a stream, frame by frame, and note that they were taken in."""
    meter = Filler(store, at_us=NOON_US + 600_000_000).open("ph", "ph-meter-1")
    waiting: list[Future[None]] = []
    for place in range(READINGS // A_FRAME):
        waiting.append(store.writer.submit(partial(_frame, meter=meter, place=place)))
        if len(waiting) > TOGETHER:
            waiting.pop(0).result()
    wait(waiting)
    store.writer.submit(lambda tx: tx.set_position("intake", tx.head.number)).result()


def _frame(tx: Transaction, meter: OpenCapture, place: int) -> None:
    at_us = NOON_US + 600_000_000 + place * 1_000_000
    row = FrameRow(0, meter.number, None, place * 16, 16, "read")
    frame = _enter(tx, at_us, "frame", row)
    for position in range(A_FRAME):
        number = tx.next_number
        reading = ReadingRow(
            reading_id=number,
            version=1,
            capture_number=meter.number,
            frame_number=frame,
            frame_ordinal=0,
            position=position,
            instrument=meter.instrument,
            driver_number=meter.driver,
            at_us=at_us,
            quantity="ph",
            outcome="value",
            value_text="3.41",
            value_numeral="3.41",
            value=3.41,
            unit="pH",
        )
        _enter(tx, at_us, "reading", reading)


def _enter(tx: Transaction, at_us: int, table: str, row: FrameRow | ReadingRow) -> int:
    return tx.enter(
        f"{table}.heard", at_us=at_us, actor="ph-meter-1", actor_kind=ActorKind.DEVICE, rows={table: [row]}
    )

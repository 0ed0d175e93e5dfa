"""How much the writer keeps a second: a frame, a reading and their ledger entry each time, by group size."""

import json
import tempfile
import time
from functools import partial
from pathlib import Path

from storage.connect import sqlite_module
from storage.ledger import ActorKind
from storage.rows import CaptureRow, DriverRow, FrameRow, ReadingRow, Row
from storage.store import Store, open_store
from storage.transaction import Transaction

GROUPS = (1, 10, 100, 300, 1000)
TRIPLES = 12_000  # of each group size but the smallest
FEWER_ALONE = 20  # one triple a commit waits for the disk each time
AT_US = 1_759_492_800_000_000  # 2025-10-03T12:00:00Z [µs]


def measure() -> dict[str, object]:
    """Return triples a second and microseconds a triple for each group size; each figure ends durable."""
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder) / "speed.db", kind="demo", clock_us=lambda: AT_US)
        capture, driver = _set_the_scene(store)
        per_s = {str(size): _rate(store, capture, driver, size) for size in GROUPS}
        store.close()
    return {
        "sqlite": sqlite_module().sqlite_version,
        "triples_per_s": per_s,
        "us_per_triple": {size: round(1e6 / rate, 1) for size, rate in per_s.items()},
    }


def _set_the_scene(store: Store) -> tuple[int, int]:
    session = store.begin_session("0", "in step", AT_US)
    driver = _enter_alone(store, "driver", DriverRow("speed", "1", "0" * 64, "speed"))
    row = CaptureRow("line-1", "meter-1", driver, "memory", "", AT_US, session)
    return _enter_alone(store, "capture", row), driver


def _enter_alone(store: Store, table: str, row: Row) -> int:
    return store.writer.submit(lambda tx: _enter(tx, {table: [row]})).result()


def _enter(tx: Transaction, rows: dict[str, list[Row]]) -> int:
    return tx.enter("reading.heard", at_us=AT_US, actor="meter-1", actor_kind=ActorKind.DEVICE, rows=rows)


def _rate(store: Store, capture: int, driver: int, size: int) -> float:
    """Commit triples in groups of one size, each when the one before is durable. [1/s]"""
    groups = TRIPLES // max(size, FEWER_ALONE)
    begun = time.perf_counter()
    for group in range(groups):
        work = partial(_write_group, capture=capture, driver=driver, size=size, offset=group * size * 30)
        store.writer.submit(work).result()
    return round(groups * size / (time.perf_counter() - begun))


def _write_group(tx: Transaction, *, capture: int, driver: int, size: int, offset: int) -> None:
    for place in range(size):
        _write_triple(tx, capture, driver, offset + 30 * place)


def _write_triple(tx: Transaction, capture: int, driver: int, offset: int) -> None:
    number = tx.next_number
    text = f"{3 + offset % 1000 / 1000:.3f}"
    frame = FrameRow(0, capture, None, offset, 30, "read")
    reading = ReadingRow(
        reading_id=number,
        version=1,
        capture_number=capture,
        frame_number=number,
        frame_ordinal=0,
        position=0,
        instrument="meter-1",
        driver_number=driver,
        at_us=AT_US + offset,
        quantity="ph",
        outcome="value",
        value_text=text,
        value_numeral=text,
        value=float(text),
        unit="pH",
        sample="W-1007",
        sequence=str(offset),
        stable=1,
    )
    _enter(tx, {"frame": [frame], "reading": [reading]})


if __name__ == "__main__":
    print(json.dumps(measure(), indent=2))

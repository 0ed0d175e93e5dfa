"""How long a person waits for the due list and for the thread of a result, in a store that has grown.

The thread reads single rows by their keys, so its time hardly depends on how many readings there are; beside
it stands the bare query of one reading by its key through the same library.
"""

import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import select

from bench.due_list import Surroundings, due_list
from storage.schema import reading
from storage.store import Store, open_store
from tests.benchmarks.report import Figure
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.rest import Rest, enter_acidity, rest_on
from tests.unit.api.test_today import LOTS, five_hundred_lots
from tests.unit.bench.acts import act, take_in

READINGS = 50_000
ROUNDS = 30


def p99_ms(work: Callable[[], object]) -> float:
    """Return the processor time of all but the slowest of a hundred, whatever else the machine does. [ms]"""
    took = []
    for _ in range(ROUNDS):
        begun = time.process_time()
        work()
        took.append(time.process_time() - begun)
    return sorted(took)[int(0.99 * (ROUNDS - 1))] * 1e3


@contextmanager
def store_at() -> Iterator[tuple[Path, Store]]:
    """Give a store in a file of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.db"
        store = open_store(path, kind="real", clock_us=lambda: NOON_US)
        yield path, store
        store.close()


def one_result(store: Store, rest: Rest) -> int:
    """Enter one result that a burette gave, and return its number."""
    enter_acidity(rest)
    rest.post("/trays/burette-1/on", {"sample": "CK4H7M"})
    filler = Filler(store, at_us=NOON_US + 300_000_000)
    filler.hear(filler.open("burette", "burette-1"), b"8.40", [Answer("dispensed_volume", "8.40", "mL")])
    take_in(store)
    (result,) = rest.get("/results")["items"]
    number: int = result["id"]
    return number


def _fill(store: Store) -> None:
    filler = Filler(store, at_us=NOON_US + 600_000_000)
    stream = filler.open("ph", "ph-meter-1")
    frame = [Answer("ph", "3.41", "pH") for _ in range(500)]
    for _ in range(READINGS // len(frame)):
        filler.hear(stream, b"x", frame)
    take_in(store)


def measure() -> list[Figure]:
    """Measure the due list for five hundred lots, and the thread of a result over REST."""
    with store_at() as (_, store):
        act(store, five_hundred_lots)
        now_us = NOON_US + 40 * 86_400_000_000

        def due() -> None:
            with store.reader() as connection:
                due_list(connection, now_us, Surroundings())

        figures = [Figure(f"due list for {LOTS} lots", p99_ms(due), "ms", 100)]
    with store_at() as (_, store), rest_on(store) as rest:
        number = one_result(store, rest)
        _fill(store)

        def one() -> None:
            with store.reader() as connection:
                connection.execute(select(reading).where(reading.c.number == number)).all()

        thread = p99_ms(lambda: rest.get(f"/results/{number}/thread"))
        figures.append(Figure(f"thread of a result, {READINGS:,} readings", thread, "ms", 50))
        figures.append(Figure("  bare query of one reading", p99_ms(one), "ms"))
    return figures

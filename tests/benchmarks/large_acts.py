"""How long hearing waits beside acts that concern thousands: a what-if over results, a pour of readings.

All in one process: one thread hears a chunk every now and then and waits until it is durable, another acts.
The same is measured with nobody acting.
"""

import asyncio
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Final

from bench.intake import Intake
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method
from bench.left_to_judge import left
from bench.pouring import Pour
from bench.records import find
from bench.repour import captures
from bench.results import Measured, make_result
from storage.store import Store
from storage.transaction import Transaction
from tests.benchmarks.desk import store_at
from tests.benchmarks.hearing import percentile
from tests.benchmarks.report import Figure
from tests.fakes.filled_store import NOON_US, Filler
from tests.fakes.heard_captures import EVERYTHING, MALLOW, hear, so2_rows
from tests.fakes.rest import Rest, check, enter_acidity, rest_on
from tests.unit.bench.acts import act, person
from tundish.pours import BREATH_S
from tundish.steps import PACE_S
from tundish.store_sink import driver_row
from tundish.stored_decoder import StoredDecoder

RESULTS: Final = 5_000
READINGS: Final = 20_000
A_FRAME: Final = 2
"""Readings of a frame."""
TOGETHER: Final = 50
"""Results entered in one commit."""
HEARD_EVERY_S: Final = 0.02
QUIET_S: Final = 3.0
SUPPOSED: Final = {
    "begin": "2025-10-03T10:00:00Z",
    "end": "2025-10-05T10:00:00Z",
    "titrant": "N-0925",
    "factors": [{"at": "2025-10-03T09:00:00Z", "factor": 0.9}],
}


def measure() -> Iterator[Figure]:
    """Measure a what-if, its application and its undoing, then a pour."""
    yield from _what_if()
    yield from _pour()


def _what_if() -> Iterator[Figure]:
    with store_at() as (_, store), rest_on(store, NOON_US + 86_400_000_000) as rest:
        _fill(store, rest)
        yield from _beside("nothing", store, lambda: time.sleep(QUIET_S), bar=None)
        begun = time.process_time()
        found = rest.post("/what-if", SUPPOSED)["items"]
        assert len(found) == RESULTS
        yield Figure(f"what-if over {RESULTS:,} results, processor time", time.process_time() - begun, "s", 5)
        made: list[int] = []

        def apply() -> None:
            made.append(rest.post("/amendments", {**SUPPOSED, "reason": "weak hydroxide"})["id"])

        begun = time.process_time()
        yield from _beside(f"a what-if over {RESULTS:,} results applied", store, apply)
        yield Figure("  its processor time, hearing included", time.process_time() - begun, "s", 5)
        undo = {"reason": "it was not"}
        yield from _beside("its undoing", store, lambda: rest.post(f"/amendments/{made[0]}/undo", undo))
        failed = "2025-10-04T11:50:00Z"
        yield from _beside(
            f"a check that fails over {RESULTS:,} results", store, lambda: check(rest, 9.2, failed)
        )
        with store.reader() as connection:
            assert not left(connection)


def _fill(store: Store, rest: Rest) -> None:
    enter_acidity(rest, plausible_low=6.0)
    check(rest, 8.44, "2025-10-03T11:30:00Z")
    for place in range(0, RESULTS, TOGETHER):
        act(store, partial(_enter, first=place))


def _enter(tx: Transaction, first: int) -> None:
    """Enter some results, of as many samples as there are commits."""
    method = find(tx.connection, Method, "ta")
    sample = find(tx.connection, Sample, "CK4H7M").record_id + first  # samples that nobody entered
    for place in range(first, first + TOGETHER):
        measured = Measured(8.4, "value", NOON_US + place * 10_000_000, "burette-1", sample)
        make_result(tx, person(), method, measured)


def _pour() -> Iterator[Figure]:
    with store_at() as (_, store):
        rows = [b"W-1;28.50;20.1\n" * 20 for _ in range(READINGS // A_FRAME // 20)]
        asyncio.run(hear(store, so2_rows(unit="g/L"), rows))
        intake = Intake(store, lambda: NOON_US, "tundish")
        while intake.step():
            pass
        right = so2_rows()
        by = Pour(
            store.reader,
            store.writer,
            driver_row(right.identity),
            MALLOW,
            EVERYTHING,
            pause=lambda: time.sleep(BREATH_S),
        )

        def pour() -> None:
            with _meanwhile(intake.step, PACE_S):
                for one in captures(store.reader, EVERYTHING):
                    by.apply(one, lambda: StoredDecoder(right))

        yield from _beside(f"a pour of {READINGS:,} readings applied", store, pour)


def _beside(what: str, store: Store, work: Callable[[], object], bar: float | None = 50) -> Iterator[Figure]:
    """Hear while something is done; tell how long all but the slowest of a hundred chunks took.

    A busy machine makes that longer, and not what the writer used for its longest commit.
    """
    filler = Filler(store, at_us=NOON_US)
    meter = filler.open(f"line-{store.writer.head.number}", "meter-1")
    waits_ms: list[float] = []

    def once() -> None:
        begun = time.monotonic()
        filler.hear(meter, b"?")
        waits_ms.append((time.monotonic() - begun) * 1e3)

    commits = _Commits()
    end = store.writer.subscribe(commits.note)
    with _meanwhile(once, HEARD_EVERY_S):
        work()
    end()
    yield Figure(f"heard beside {what}: to durable, p99", percentile(waits_ms, 0.99), "ms", bar)
    yield Figure(
        f"  processor time of the longest of {len(commits.took_ms)} commits", max(commits.took_ms), "ms"
    )


class _Commits:
    """Notes how much of its processor the writer used for each commit."""

    def __init__(self) -> None:
        self.took_ms: list[float] = []
        self._before_s: float | None = None

    def note(self, _head: int) -> None:
        """Take the time of the writer's thread after a commit."""
        now_s = time.thread_time()
        if self._before_s is not None:
            self.took_ms.append((now_s - self._before_s) * 1e3)
        self._before_s = now_s


@contextmanager
def _meanwhile(work: Callable[[], object], every_s: float) -> Iterator[None]:
    """Do something again and again in a thread while the block runs."""
    ended = threading.Event()

    def run() -> None:
        while not ended.wait(every_s):
            work()

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()

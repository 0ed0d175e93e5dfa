"""Titrations while they run: begun, watched, ended, from the points that instruments send.

The place up to which points were taken is kept in the same commit as what was made of them, and what is known
of a running curve is built again from the store, so that a crash loses nothing and tells nothing twice.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from threading import Lock
from typing import Final

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from bench.canonical_json import from_text
from bench.live_runs import Begun, Ended, Happening, LiveRun, Warned, begun, rebuilt, rows_of, watched
from storage.ledger import ActorKind
from storage.queries import head, position
from storage.queries.notices import (
    NoticeFilter,
    PointRecord,
    ReportRecord,
    anything_after,
    points_after,
    reports_after,
)
from storage.queries.runs import run_of, running
from storage.rows import FaultRow
from storage.store import Store
from storage.transaction import Transaction

PLACE: Final = "runs"
"""Name of this step's place in the store."""
BATCH: Final = 500
"""Most points taken in one commit."""
SILENCE_US: Final = 900_000_000
"""A run of which nothing was heard for so long has ended: no titration waits longer between points. [µs]"""

Told = PointRecord | ReportRecord
"""What an instrument said of a run."""


class RunWatch:
    """Takes the points of one store. One at a time: it is the only one that moves its place."""

    def __init__(self, store: Store, clock_us: Callable[[], int], actor: str) -> None:
        self._store = store
        self._clock_us = clock_us
        self._actor = actor
        self._one_at_a_time = Lock()
        with store.reader() as connection:
            self._place = position(connection, PLACE)
            unfinished = running(connection)
            self._live = {one.instrument: rebuilt(connection, one, self._place) for one in unfinished}
        self._announced: dict[str, ReportRecord] = {}
        self._stopped: dict[str, str] = {}
        """By instrument the sequence of a run that a person said was stopped: what still comes is no run."""

    @property
    def place(self) -> int:
        """The ledger number up to which everything was taken."""
        return self._place

    def step(self) -> int:
        """Take what was said since; return how many runs begun, ended or warned of. Waits for the commit."""
        with self._one_at_a_time:
            total = 0
            while True:
                heard, happened = self._round()
                total += happened
                if heard < BATCH:
                    return total

    def _round(self) -> tuple[int, int]:
        """Take one batch; return how much was heard, and how much happened by it."""
        with self._store.reader() as connection:
            self._forget_stopped(connection)
            upto, told = _told(connection, self._place)
            try:
                live, happened = self._followed(connection, told)
            except SQLAlchemyError:
                raise  # the store is away: it is looked at again
            except Exception as error:
                words = f"after {self._place}: {type(error).__name__}: {error}"
                self._pass_over(FaultRow(None, None, "runs", words), upto)
                return len(told), 0
        if happened:
            work = self._store.writer.submit(lambda tx: self._enter(tx, live, happened, upto))
            ids = work.result()
            live = {name: replace(one, run_id=ids[name]) for name, one in live.items()}
        self._live, self._place = live, upto
        return len(told), len(happened)

    def _pass_over(self, fault: FaultRow, upto: int) -> None:
        """Enter a fault of ours and go on behind it: it stops neither the other runs nor the readings."""

        def work(tx: Transaction) -> None:
            tx.enter(
                "fault.found",
                at_us=self._clock_us(),
                actor=self._actor,
                actor_kind=ActorKind.DAEMON,
                rows={"fault": [fault]},
            )
            tx.set_position(PLACE, upto)

        self._store.writer.submit(work).result()
        with self._store.reader() as connection:
            self._live = {one.instrument: rebuilt(connection, one, upto) for one in running(connection)}
        self._place = upto

    def _forget_stopped(self, connection: Connection) -> None:
        """Let go of the runs that a person said were stopped."""
        for name, run in list(self._live.items()):
            found = run_of(connection, run.run_id or 0)
            if found is not None and found.how is not None:
                del self._live[name]
                if run.sequence is not None:
                    self._stopped[name] = run.sequence

    def _followed(
        self, connection: Connection, told: Sequence[Told]
    ) -> tuple[dict[str, LiveRun], list[Happening]]:
        live: dict[str, LiveRun] = dict(self._live)
        happened: list[Happening] = []
        for one in told:
            happened += self._taken(connection, live, one)
        for name, run in list(live.items()):
            if self._clock_us() - run.last_us > SILENCE_US:
                happened.append(Ended(name, run.last_us, "timed_out", run.last, "nothing more was heard"))
                del live[name]
        return live, happened

    def _taken(self, connection: Connection, live: dict[str, LiveRun], one: Told) -> Iterator[Happening]:
        if isinstance(one, PointRecord):
            yield from self._point(connection, live, one)
        elif one.kind == "run_started":
            self._announced[one.instrument] = one
            yield from _given_up(live, one.instrument, one.at_us)
        elif one.instrument in live:
            run = live[one.instrument]
            told = from_text(one.body)
            if told.get("sequence") in (None, run.sequence) or run.sequence is None:
                how = "aborted" if told.get("aborted") else "ended"
                yield Ended(one.instrument, one.at_us, how, run.last)
                del live[one.instrument]

    def _point(
        self, connection: Connection, live: dict[str, LiveRun], point: PointRecord
    ) -> Iterator[Happening]:
        if point.sequence is not None and self._stopped.get(point.instrument) == point.sequence:
            return
        run = live.get(point.instrument)
        if run is not None and None not in (run.sequence, point.sequence) and run.sequence != point.sequence:
            yield from _given_up(live, point.instrument, point.at_us)
            run = None
        if run is None:
            run, row = begun(connection, point, self._announced.pop(point.instrument, None))
            yield Begun(point.instrument, row)
        run, found = watched(run, point)
        live[point.instrument] = run
        for finding in found:
            yield Warned(point.instrument, point.at_us, finding)

    def _enter(
        self, tx: Transaction, live: Mapping[str, LiveRun], happened: Sequence[Happening], upto: int
    ) -> dict[str, int]:
        """Enter what happened, and return the id of each run that goes on, by its instrument."""
        ids = {name: one.run_id for name, one in self._live.items()}
        for one in happened:
            run_id = ids.get(one.instrument)
            if isinstance(one, Ended) and _is_over(tx.connection, run_id):
                continue
            action, rows = rows_of(one, run_id)
            number = tx.enter(
                action, at_us=self._clock_us(), actor=self._actor, actor_kind=ActorKind.DAEMON, rows=rows
            )
            if isinstance(one, Begun):
                ids[one.instrument] = number
        tx.set_position(PLACE, upto)
        return {name: ids[name] or 0 for name in live}


def _told(connection: Connection, after: int) -> tuple[int, list[Told]]:
    """Return what was said of runs after a ledger number, in order, and up to which number it is complete."""
    upto = head(connection)
    if not anything_after(connection, after):
        return upto, []
    points = points_after(connection, NoticeFilter(), after=after, limit=BATCH)
    reports = [
        one
        for kind in ("run_started", "run_ended")
        for one in reports_after(connection, NoticeFilter(kind=kind), after=after, limit=BATCH)
    ]
    if len(points) == BATCH:
        upto = min(upto, points[-1].number)
    if len(reports) >= BATCH:
        upto = min(upto, max(one.number for one in reports))
    every: list[Told] = [*points, *reports]
    found = [one for one in every if one.number <= upto]
    return upto, sorted(found, key=lambda one: one.number)


def _given_up(live: dict[str, LiveRun], instrument: str, at_us: int) -> Iterator[Ended]:
    """Yield that a run was lost: another one begins, and this one never said that it ended."""
    run = live.pop(instrument, None)
    if run is not None:
        yield Ended(instrument, at_us, "lost", run.last, "another run began")


def _is_over(connection: Connection, run_id: int | None) -> bool:
    found = None if run_id is None else run_of(connection, run_id)
    return found is not None and found.how is not None

"""Step 2: take committed readings in order, each exactly once, and go on from there after a crash.

The place up to which readings were taken is kept in the same commit as what was made of them.
"""

from collections.abc import Callable, Sequence
from threading import Lock
from typing import Final

from sqlalchemy import Connection

from bench.actor import Actor
from bench.corrected import correct
from bench.instrument_clocks import troubles
from bench.left_to_judge import judge_next, left
from bench.normalise import normal
from bench.outside_heard import laboratories_of, take_theirs
from bench.repeats import repeats
from bench.runs import RunWatch
from bench.settle import Settler
from bench.taking import take
from bench.ties import bonds, tie_row
from storage.ledger import ActorKind
from storage.queries import UntakenReading, position, untaken_readings
from storage.queries.trays import instruments_ever_set
from storage.rows import FaultRow, TakenRow
from storage.store import Store
from storage.transaction import Transaction

PLACE: Final = "intake"
"""Name of this step's place in the store."""

CORRECTED: Final = 25
"""Most corrected readings of one commit: what stands on each is looked for."""

SOMEBODYS: Final = 8
"""Most readings of one commit that may be somebody's: each may be a result, which takes some ten
milliseconds, and hearing waits for the commit."""

BATCH: Final = 1000
"""Most readings that a step looks at: bounds memory and the length of its transaction."""


class Intake:
    """Takes readings of one store. One at a time: it is the only one that moves its place."""

    def __init__(
        self,
        store: Store,
        clock_us: Callable[[], int],
        actor: str,
        *,
        software: str = "tundish",
        runs: RunWatch | None = None,
        batch: int = BATCH,
    ) -> None:
        self._store = store
        self._clock_us = clock_us
        self._actor = actor
        self._software = software
        self._runs = runs
        self._batch = batch
        self._one_at_a_time = Lock()
        self._behind = False
        self._settler = Settler()
        with store.reader() as connection:
            self._place = position(connection, PLACE)

    @property
    def place(self) -> int:
        """The number of the last reading that was taken; 0 before the first."""
        return self._place

    @property
    def behind(self) -> bool:
        """Whether the last step left readings that were there when it began."""
        return self._behind

    def step(self) -> int:
        """Take the next readings; return how many. Waits for the commit, so it belongs in a thread.

        If there are none, a piece is judged of what an act left to be judged, which counts as one.

        A step that somebody gave up waiting for goes on by itself; the next one waits until it has ended.
        """
        with self._one_at_a_time:
            with self._store.reader() as connection:
                waiting = untaken_readings(connection, after=self._place, limit=self._batch)
                readings = _bounded(waiting, _ever_set(connection, waiting))
                again = repeats(connection, readings)
                is_left = bool(left(connection))
            if self._runs is not None:
                self._runs.step()  # a run is known before the result that it gave
            if not readings:
                self._behind = is_left and self._store.writer.submit(self._judge_next).result()
                return int(is_left)
            rows = [taken_row(reading, again.get(reading.number)) for reading in readings]
            new = [reading for reading in readings if reading.number not in again and reading.version == 1]
            changed = [reading for reading in readings if reading.version > 1]
            is_left = self._store.writer.submit(lambda tx: self._enter(tx, rows, new, changed)).result()
            self._place = rows[-1].reading_number
            self._behind = len(waiting) == self._batch or len(readings) < len(waiting) or is_left
            return len(rows)

    def _enter(
        self,
        tx: Transaction,
        rows: Sequence[TakenRow],
        new: Sequence[UntakenReading],
        changed: Sequence[UntakenReading],
    ) -> bool:
        """Enter what readings amount to, and tell whether anything is left to be judged."""
        theirs = laboratories_of(tx.connection, {one.instrument for one in (*new, *changed)})
        ours = [one for one in new if one.instrument not in theirs]
        found = bonds(tx.connection, ours)
        ties = [
            tie_row(ordinal, reading_id, bond) for ordinal, (reading_id, bond) in enumerate(found.items())
        ]
        tx.enter(
            "readings.taken",
            at_us=self._clock_us(),
            actor=self._actor,
            actor_kind=ActorKind.DAEMON,
            rows={"taken": rows, "tie": ties},
        )
        if clocks := list(troubles(tx.connection, new)):
            self._say(tx, clocks)
        take(tx, self._by(), self._settler.sift(tx, self._by(), ours), found)
        correct(tx, self._by(), [one for one in changed if one.instrument not in theirs])
        take_theirs(tx, self._by(), [one for one in (*new, *changed) if one.instrument in theirs], theirs)
        tx.set_position(PLACE, rows[-1].reading_number)
        return bool(left(tx.connection))

    def _judge_next(self, tx: Transaction) -> bool:
        return judge_next(tx, self._by())

    def _say(self, tx: Transaction, clocks: Sequence[FaultRow]) -> None:
        for row in clocks:
            tx.enter(
                "fault.found",
                at_us=self._clock_us(),
                actor=self._actor,
                actor_kind=ActorKind.DAEMON,
                rows={"fault": [row]},
            )

    def _by(self) -> Actor:
        return Actor(self._actor, ActorKind.DAEMON, self._clock_us(), software=self._software)


def _ever_set(connection: Connection, readings: Sequence[UntakenReading]) -> set[str]:
    return instruments_ever_set(connection, {one.instrument for one in readings}) if readings else set()


def _bounded(readings: list[UntakenReading], ever_set: set[str]) -> list[UntakenReading]:
    """Return the readings that may come in the same commit, from the first on."""
    corrected = somebodys = 0
    for place, one in enumerate(readings):
        corrected += one.version > 1
        somebodys += bool(one.sample) or one.instrument in ever_set
        if corrected > CORRECTED or somebodys > SOMEBODYS:
            return readings[:place]
    return readings


def taken_row(reading: UntakenReading, repeat_of: int | None = None) -> TakenRow:
    """Return what a reading amounts to."""
    found = normal(reading.quantity, reading.outcome, reading.value_numeral, reading.unit)
    value = None if found.numeral is None else float(found.numeral)
    return TakenRow(reading.number, found.numeral, value, found.unit, found.note, repeat_of)

"""Streaming instruments: when a value has come to rest it makes one reading of record.

Which quantities of an instrument stream, and what counts as settled, stands in the instrument's record. What
a stream has shown can be read back from the store at any time, so that a crash loses nothing of it and
nothing settles twice.
"""

import math
from collections import defaultdict
from collections.abc import Collection, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.canonical_json import to_text
from bench.kinds.laboratory import Instrument, Settling
from bench.normalise import normal
from bench.records import read
from bench.refused import Fault, NotThereError
from evaluate.stability import Settled, Stability, StabilityRule, StabilityState, settle
from storage.bench_rows import SettledRow
from storage.queries.readings import UntakenReading
from storage.queries.records import records_by_codes
from storage.queries.settling import last_settled, stream_before, tapped_among
from storage.queries.trays import on_instrument_at
from storage.transaction import Transaction

HISTORY: Final = 5000
"""Most readings looked back at: five minutes of 16 a second."""
MOVED_TIMES: Final = 3.0
"""By how many spans a value must leave the settled one before it can settle again. [1]"""
US_A_SECOND: Final = 1_000_000

VERDICTS: Final = {Settled.WAITING: "waiting", Settled.STABLE: "stable", Settled.TIMED_OUT: "timed_out"}


@dataclass(frozen=True, slots=True)
class Stretch:
    """What a stream shows up to a reading."""

    reading: UntakenReading
    first_reading_id: int
    readings: int
    said: Stability
    settles: bool
    """Whether the value came to rest with this reading, and had not before."""

    def figures(self, rule: Settling | None, how: str = "rule") -> SettledRow:
        """Return what is kept of it, by a rule; without one it has no verdict."""
        said, reading = self.said, self.reading
        return SettledRow(
            reading_id=reading.reading_id,
            first_reading_id=self.first_reading_id,
            readings=self.readings,
            instrument=reading.instrument,
            quantity=reading.quantity,
            at_us=reading.at_us,
            how=how,
            verdict="no_rule" if rule is None else VERDICTS[said.verdict],
            rule=None if rule is None else to_text(rule.model_dump()),
            span=_finite(said.span),
            drift_per_s=_finite(said.drift_per_s),
            waited_s=None if rule is None else _finite(said.waited_s),
        )


class Watch:
    """Follows one stream while the same thing stands on the instrument."""

    def __init__(self, rule: Settling) -> None:
        self._rule = StabilityRule(**rule.model_dump())
        self._settled: float | None = None
        """The value that it settled at last, while it has not left it."""
        self._state = StabilityState()
        self._ids: tuple[int, ...] = ()

    def copy(self) -> "Watch":
        """Return another watch that has seen the same."""
        return copy(self)  # everything in it is replaced, never changed

    def take(self, reading: UntakenReading, *, is_tapped: bool = False) -> Stretch:
        """Take the next reading and say what the stream shows; what somebody took need not settle again."""
        value, time_s = _value(reading), reading.at_us / US_A_SECOND
        if self._state.latest_s is not None and time_s < self._state.latest_s:
            self._state = StabilityState()  # the clock of this computer was put back
        self._state, said = settle(self._state, self._rule, time_s, value)
        kept = len(self._state.window)
        self._ids = (*self._ids, reading.reading_id)[-kept:] if kept else ()
        self._leave(value)
        if is_tapped:
            self._settled = value
        settles = (
            said.verdict is Settled.STABLE and self._settled is None and reading.stable not in (False, 0)
        )
        if settles:
            self._settled = said.value
        first = self._ids[0] if self._ids else reading.reading_id
        return Stretch(reading, first, max(len(self._ids), 1), said, settles)

    def follows(self, rule: Settling) -> bool:
        """Tell whether it goes by this rule."""
        return self._rule == StabilityRule(**rule.model_dump())

    def _leave(self, value: float) -> None:
        if self._settled is not None and abs(value - self._settled) > MOVED_TIMES * self._rule.span:
            self._settled = None
            self._state = self._state._replace(started_s=self._state.latest_s)  # it settles anew from here


def _value(reading: UntakenReading) -> float:
    found = normal(reading.quantity, reading.outcome, reading.value_numeral, reading.unit)
    return math.nan if found.numeral is None else float(found.numeral)


def rule_of(connection: Connection, instrument: str, quantity: str) -> Settling | None:
    """Return the rule by which a quantity of an instrument settles; None if it does not stream."""
    return rules_of(connection, {instrument}).get((instrument, quantity))


def rules_of(connection: Connection, instruments: Collection[str]) -> dict[tuple[str, str], Settling]:
    """Return the rules by which quantities of some instruments settle; those that do not stream have none.

    A batch of many lines costs one question.
    """
    found = records_by_codes(connection, "instrument", instruments)
    return {
        (code, quantity): rule
        for code, version in found.items()
        for quantity, rule in read(version, Instrument).body.settling.items()
    }


class _Seen(NamedTuple):
    """A watch, and up to where it has seen its stream."""

    number: int
    since_us: int
    watch: Watch


class Settler:
    """Finds the readings at which streams come to rest, batch by batch.

    What it remembers only spares looking back: whatever it was told last, it gives the same for a batch.
    """

    def __init__(self) -> None:
        self._seen: dict[tuple[str, str], _Seen] = {}

    def sift(self, tx: Transaction, actor: Actor, readings: Sequence[UntakenReading]) -> list[UntakenReading]:
        """Return the readings that stand for themselves; of streams, those at which a value came to rest.

        Which those are, by which rule and from which stretch, is entered.
        """
        rules = rules_of(tx.connection, {one.instrument for one in readings})
        kept: list[UntakenReading] = []
        streams: defaultdict[tuple[str, str], list[UntakenReading]] = defaultdict(list)
        for reading in readings:
            key = reading.instrument, reading.quantity
            (streams[key] if key in rules else kept).append(reading)
        for key, some in streams.items():
            for stretch in self._followed(tx.connection, rules[key], some):
                if stretch.settles:
                    enter(tx, actor, rules[key], stretch, "rule")
                    kept.append(stretch.reading)
        return sorted(kept, key=lambda one: one.number)

    def _followed(
        self, connection: Connection, rule: Settling, readings: Sequence[UntakenReading]
    ) -> list[Stretch]:
        """Return what a stream shows at each of some readings that follow each other."""
        key = readings[0].instrument, readings[0].quantity
        found: list[Stretch] = []
        watch, since_us = self._remembered(connection, rule, readings[0])
        tapped = tapped_among(connection, [one.reading_id for one in readings])
        for reading in readings:
            begin_us = _since(connection, reading)
            if watch is None or begin_us != since_us:
                since_us = begin_us
                watch = _begun(connection, rule, reading, begin_us)
            found.append(watch.take(reading, is_tapped=reading.reading_id in tapped))
        if watch is not None:
            self._seen[key] = _Seen(readings[-1].number, since_us, watch)
        return found

    def _remembered(
        self, connection: Connection, rule: Settling, first: UntakenReading
    ) -> tuple[Watch | None, int]:
        """Return a watch that has seen just what came before a reading, if there is one; and since when."""
        seen = self._seen.get((first.instrument, first.quantity))
        before = stream_before(
            connection, first.instrument, first.quantity, before=first.number, from_us=0, limit=1
        )
        if seen is None or not before or before[0].number != seen.number or not seen.watch.follows(rule):
            return None, -1
        last = last_settled(connection, first.instrument, first.quantity)
        if last is not None and last.how == "person" and last.number > seen.number:
            return None, -1  # somebody took a value since
        return seen.watch.copy(), seen.since_us


def _since(connection: Connection, reading: UntakenReading) -> int:
    """Return since when the same has stood on the instrument. [µs]"""
    on = on_instrument_at(connection, reading.instrument, reading.at_us)
    return 0 if on is None else on.at_us


def _begun(connection: Connection, rule: Settling, reading: UntakenReading, begin_us: int) -> Watch:
    """Return a watch that has seen what the stream showed before a reading, since a moment. [µs]"""
    back_s = max(rule.longest_wait_s, 2 * rule.window_s)
    earlier = stream_before(
        connection,
        reading.instrument,
        reading.quantity,
        before=reading.number,
        from_us=max(begin_us, reading.at_us - round(back_s * US_A_SECOND)),
        limit=HISTORY,
    )
    tapped = tapped_among(connection, [one.reading_id for one in earlier])
    watch = Watch(rule)
    for one in earlier:
        watch.take(one, is_tapped=one.reading_id in tapped)
    return watch


def enter(tx: Transaction, actor: Actor, rule: Settling | None, stretch: Stretch, how: str) -> int:
    """Enter that a reading is the one of record, and return the number of the entry."""
    return tx.enter(
        "reading.settled" if how == "rule" else "reading.tapped",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"settled": [stretch.figures(rule, how)]},
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


_ONE_READING: Final = Stability(Settled.WAITING, math.nan, math.nan, math.nan, 0.0)


def shown(connection: Connection, instrument: str, quantity: str) -> tuple[Settling | None, Stretch]:
    """Return the rule of a quantity of an instrument and what it shows now.

    Raises
    ------
    NotThereError
        If it was never heard.
    """
    newest = stream_before(connection, instrument, quantity, before=2**62, from_us=0, limit=1)
    if not newest:
        raise NotThereError(
            "tap.nothing_heard",
            f"{instrument} has said nothing of {quantity!r}",
            Fault("quantity", "take one that it measures"),
        )
    rule = rule_of(connection, instrument, quantity)
    if rule is None:
        return None, Stretch(newest[0], newest[0].reading_id, 1, _ONE_READING, settles=False)
    reading = newest[0]
    return rule, _begun(connection, rule, reading, _since(connection, reading)).take(reading)

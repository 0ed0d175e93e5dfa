"""Take this one: somebody makes what an instrument shows now the reading of record."""

import math
from typing import Final

from sqlalchemy import Connection

from bench.actor import Actor
from bench.kinds.laboratory import Settling
from bench.reasons import Cause
from bench.refused import RefusedError
from bench.settle import US_A_SECOND, Stretch, enter, shown
from bench.taking import take
from bench.ties import bond, tie_row
from evaluate.stability import Settled
from storage.queries.readings import UntakenReading
from storage.queries.results import results_standing_on
from storage.queries.settling import SettledRecord, last_settled
from storage.queries.trays import tie_of
from storage.transaction import Transaction

STALE_S: Final = 30.0
"""Oldest reading that somebody can take as what stands there now. [s]"""


def tap(tx: Transaction, actor: Actor, instrument: str, quantity: str) -> SettledRecord:
    """Make the newest reading of a quantity the one of record because somebody says so; return it.

    What it amounts to is made at once. If the value had not come to rest, its result says so.
    """
    rule, stretch = shown(tx.connection, instrument, quantity)
    reading = stretch.reading
    _must_be_of_now(tx.connection, actor, reading)
    number = enter(tx, actor, rule, stretch, "person")
    found = bond(tx.connection, reading)
    if found is not None:
        if tie_of(tx.connection, reading.reading_id) is None:
            tx.enter(
                "reading.tied",
                at_us=actor.at_us,
                actor=actor.name,
                actor_kind=actor.kind,
                rows={"tie": [tie_row(0, reading.reading_id, found)]},
            )
        take(tx, actor, [reading], {reading.reading_id: found}, causes=_causes(actor, rule, stretch))
    record = last_settled(tx.connection, instrument, quantity)
    assert record is not None  # noqa: S101 - it was entered just now
    assert record.number == number  # noqa: S101 - nobody else writes meanwhile
    return record


def _must_be_of_now(connection: Connection, actor: Actor, reading: UntakenReading) -> None:
    age_s = (actor.at_us - reading.at_us) / US_A_SECOND
    if age_s > STALE_S:
        raise RefusedError(
            "tap.stale",
            f"the newest reading of {reading.instrument} is {age_s:.0f} s old; see whether it still sends",
        )
    last = last_settled(connection, reading.instrument, reading.quantity)
    if (last is not None and last.reading_id == reading.reading_id) or results_standing_on(
        connection, "reading", [reading.reading_id]
    ):
        raise RefusedError("tap.taken", f"reading {reading.reading_id} was taken already")


def _causes(actor: Actor, rule: Settling | None, stretch: Stretch) -> tuple[Cause, ...]:
    if rule is None or stretch.said.verdict is Settled.STABLE:
        return ()
    said = stretch.said
    span = f"within {said.span:g}" if math.isfinite(said.span) else "without a span"
    evidence = (
        f"{actor.name} took reading {stretch.reading.reading_id} after {said.waited_s:g} s, {span}"
        f" where {rule.span:g} over {rule.window_s:g} s is wanted"
    )
    return (Cause("outcome.not_stable", evidence),)

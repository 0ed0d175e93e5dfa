"""Holds: a failed check puts in doubt what was measured since the last that passed. Nothing is deleted.

A later check that passes closes the bracket to the front; it does not clear what lies behind. The ways out
are acts of a person with a reason: accept, reject, repeat, or narrow.
"""

from collections.abc import Iterable
from typing import Final

from bench.actor import Actor
from bench.canonical_json import to_text
from bench.refused import Fault, MalformedError, NotThereError, RefusedError
from evaluate.rule_definitions import Verdict
from storage.bench_rows import HoldChangeRow, HoldRow
from storage.queries.control_records import ControlRecord, control_record_by_number, latest_control_record
from storage.queries.holds import Hold, hold_by_number, holds
from storage.transaction import Transaction

IN_CONTROL: Final = (Verdict.PASS.value, Verdict.WARN.value, Verdict.REVIEW.value)
WAYS_OUT: Final = frozenset({"accepted", "rejected", "repeated"})
SINCE_EVER_US: Final = 0
"""Where a bracket begins if nothing ever passed. [µs]"""


def open_hold(tx: Transaction, actor: Actor, control_number: int) -> int | None:
    """Open a hold for a record that failed; None if the bracket it lies in is open already."""
    failed = control_record_by_number(tx.connection, control_number)
    if failed is None:
        raise NotThereError("control.unknown", f"there is no control record {control_number}")
    passed = latest_control_record(
        tx.connection,
        failed.kind,
        failed.at_us,
        instrument=failed.instrument,
        subject_id=failed.subject_id,
        verdicts=IN_CONTROL,
    )
    from_us = SINCE_EVER_US if passed is None else passed.at_us
    if any(_same_scope(one, failed) and one.until_us is None for one in holds(tx.connection, open_only=True)):
        return None
    number = tx.next_number
    row = HoldRow(
        code="check.failed",
        control_number=control_number,
        instrument=failed.instrument,
        method_id=failed.method_id,
        subject_id=failed.subject_id,
        from_us=from_us,
        evidence=to_text({"control_record": control_number, "verdict": failed.verdict}),
    )
    _enter(tx, actor, "hold.opened", "hold", row)
    return number


def close_to_the_front(tx: Transaction, actor: Actor, control_number: int) -> list[int]:
    """Close every open bracket that a passed record ends, and return their numbers."""
    closed: list[int] = []
    passed = control_record_by_number(tx.connection, control_number)
    if passed is None:
        return closed
    for one in holds(tx.connection):  # what a person has settled ends there too
        if _same_scope(one, passed) and one.until_us is None and passed.at_us > one.from_us:
            row = HoldChangeRow(one.number, "closed", None, passed.at_us, passed.number)
            _enter(tx, actor, "hold.closed", "hold_change", row)
            closed.append(one.number)
    return closed


def settle(tx: Transaction, actor: Actor, number: int, way: str) -> None:
    """Accept, reject or repeat what lies in a hold; a reason is wanted, and the mark stays."""
    found = _unsettled(tx, actor, number)
    if way not in WAYS_OUT:
        known = ", ".join(sorted(WAYS_OUT))
        raise MalformedError(
            "hold.way_unknown", f"{way!r} is no way out of a hold; known are {known}", Fault("way", known)
        )
    _enter(tx, actor, f"hold.{way}", "hold_change", HoldChangeRow(found.number, way))


def narrow(tx: Transaction, actor: Actor, number: int, from_us: int, until_us: int | None) -> None:
    """Confine a hold to where its cause was found; both ends stay within the old ones. [µs]"""
    found = _unsettled(tx, actor, number)
    end = found.until_us if until_us is None else until_us
    inside = found.from_us <= from_us and (found.until_us is None or (end or 0) <= found.until_us)
    if not inside or (end is not None and end <= from_us):
        raise MalformedError(
            "hold.not_narrower",
            "a hold is confined, never widened or moved",
            Fault("from", "keep within the hold"),
        )
    _enter(tx, actor, "hold.narrowed", "hold_change", HoldChangeRow(number, "narrowed", from_us, end))


def covering(
    known: Iterable[Hold], *, at_us: int, instrument: str | None, method_id: int, titrant_id: int | None
) -> list[Hold]:
    """Return the holds in which a result of that moment and scope lies, settled ones too. [µs]"""
    return [
        one
        for one in known
        if one.from_us < at_us
        and (one.until_us is None or at_us < one.until_us)
        and _speaks_for(one, instrument, method_id, titrant_id)
    ]


def _speaks_for(one: Hold, instrument: str | None, method_id: int, titrant_id: int | None) -> bool:
    """Tell whether a hold covers a scope: it names what its check depended on."""
    if one.instrument is not None and one.instrument != instrument:
        return False
    if one.method_id is not None:
        return one.method_id == method_id
    return one.instrument is not None or one.subject_id == titrant_id


def _same_scope(one: Hold, record: ControlRecord) -> bool:
    return (one.instrument, one.method_id, one.subject_id) == (
        record.instrument,
        record.method_id,
        record.subject_id,
    )


def _unsettled(tx: Transaction, actor: Actor, number: int) -> Hold:
    if not actor.reason:
        raise MalformedError(
            "act.reason_wanted", "say why: this act needs a reason", Fault("reason", "is empty")
        )
    found = hold_by_number(tx.connection, number)
    if found is None:
        raise NotThereError("hold.unknown", f"there is no hold {number}")
    if found.settled is not None:
        raise RefusedError("hold.settled", f"hold {number} was {found.settled} already")
    return found


def _enter(tx: Transaction, actor: Actor, action: str, table: str, row: HoldRow | HoldChangeRow) -> None:
    tx.enter(
        action,
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={table: [row]},
    )

"""Holds: what is in doubt since a check failed, and what became of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, select

from storage.schema import hold, hold_change, ledger


@dataclass(frozen=True, slots=True)
class Hold:
    """A bracket of time in which the results of a scope are in doubt."""

    number: int
    code: str
    control_number: int | None
    instrument: str | None
    method_id: int | None
    subject_id: int | None
    from_us: int
    """The last check that passed, which is outside. [µs]"""
    until_us: int | None
    """The next check that passed, which is outside; None while none has. [µs]"""
    settled: str | None
    """accepted, rejected or repeated, once a person has said so."""
    evidence: str


@dataclass(frozen=True, slots=True)
class HoldChange:
    """What was done to a hold, by whom, when and why."""

    number: int
    change: str
    from_us: int | None
    until_us: int | None
    control_number: int | None
    actor: str
    at_us: int
    reason: str | None


_CHANGES: Final = select(hold_change).order_by(hold_change.c.number)
_HOLDS: Final = select(hold).order_by(hold.c.number)


def holds(connection: Connection, *, open_only: bool = False) -> list[Hold]:
    """Return every hold as it stands now, oldest first; on request only those that no person has settled."""
    changes: dict[int, list[Any]] = {}
    for change in connection.execute(_CHANGES):
        changes.setdefault(change.hold_id, []).append(change)
    rows = connection.execute(_HOLDS)
    found = [_as_it_stands(row, changes.get(row.number, ())) for row in rows]
    return [one for one in found if one.settled is None] if open_only else found


def hold_by_number(connection: Connection, number: int) -> Hold | None:
    """Return one hold as it stands now."""
    row = connection.execute(select(hold).where(hold.c.number == number)).one_or_none()
    return None if row is None else _as_it_stands(row, hold_changes(connection, number))


def hold_changes(connection: Connection, number: int) -> list[HoldChange]:
    """Return what was done to a hold, oldest first."""
    query = (
        select(hold_change, ledger.c.actor, ledger.c.at_us, ledger.c.reason)
        .join(ledger, ledger.c.number == hold_change.c.number)
        .where(hold_change.c.hold_id == number)
        .order_by(hold_change.c.number)
    )
    return [
        HoldChange(
            row.number,
            row.change,
            row.from_us,
            row.until_us,
            row.control_number,
            row.actor,
            row.at_us,
            row.reason,
        )
        for row in connection.execute(query)
    ]


def _as_it_stands(row: Any, changes: Sequence[Any]) -> Hold:
    from_us, until_us, settled = row.from_us, None, None
    for change in changes:
        from_us = change.from_us if change.from_us is not None else from_us
        until_us = change.until_us if change.until_us is not None else until_us
        if change.change in ("accepted", "rejected", "repeated"):
            settled = change.change
    return Hold(
        row.number,
        row.code,
        row.control_number,
        row.instrument,
        row.method_id,
        row.subject_id,
        from_us,
        until_us,
        settled,
        row.evidence,
    )

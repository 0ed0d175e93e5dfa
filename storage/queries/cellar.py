"""What happened to the wine: movements with their parts, additions with their steps."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, or_, select

from storage.schema import addition, addition_step, ledger, movement, movement_part


@dataclass(frozen=True, slots=True)
class MovementPart:
    """Wine that went into a movement."""

    from_lot_id: int | None
    from_vessel_id: int | None
    volume_l: float


@dataclass(frozen=True, slots=True)
class Movement:
    """Wine went somewhere."""

    number: int
    at_us: int
    kind: str
    to_lot_id: int
    to_vessel_id: int | None
    note: str
    actor: str
    parts: tuple[MovementPart, ...]

    @property
    def volume_l(self) -> float:
        """What was moved. [L]"""
        return sum(part.volume_l for part in self.parts)


@dataclass(frozen=True, slots=True)
class AdditionStep:
    """What became of a planned addition."""

    number: int
    step: str
    at_us: int
    mass_g: float | None
    reading_id: int | None
    details: str
    """Canonical JSON."""
    actor: str
    reason: str | None


@dataclass(frozen=True, slots=True)
class Addition:
    """A planned addition with what became of it."""

    number: int
    lot_id: int
    vessel_id: int | None
    substance_id: int
    quantity: str
    plan: str
    """Canonical JSON."""
    planned_at_us: int
    actor: str
    reason: str | None
    steps: tuple[AdditionStep, ...]

    def last(self, step: str) -> AdditionStep | None:
        """Return the newest step of a kind."""
        return next((one for one in reversed(self.steps) if one.step == step), None)

    @property
    def last_actor(self) -> str:
        """Who brought it into the state it is in."""
        return self.steps[-1].actor if self.steps else self.actor

    @property
    def state(self) -> str:
        """planned, weighed, done or cancelled."""
        if self.last("cancelled") is not None:
            return "cancelled"
        if self.last("done") is not None:
            return "done"
        return "planned" if self.last("weighed") is None else "weighed"


def movements(connection: Connection, *, after: int = 0, limit: int = 1000) -> list[Movement]:
    """Return movements in the order in which they were entered."""
    return _movements(connection, movement.c.number > after, limit=limit)


def movements_of_lot(connection: Connection, lot_id: int) -> list[Movement]:
    """Return the movements that brought wine to a lot or took wine from it, in the order of time."""
    taken = select(movement_part.c.number).where(movement_part.c.from_lot_id == lot_id)
    found = _movements(
        connection, or_(movement.c.to_lot_id == lot_id, movement.c.number.in_(taken)), limit=10_000
    )
    return sorted(found, key=lambda one: (one.at_us, one.number))


def movements_of_vessel(connection: Connection, vessel_id: int) -> list[Movement]:
    """Return the movements that brought wine into a vessel or took wine from it, in the order of time."""
    taken = select(movement_part.c.number).where(movement_part.c.from_vessel_id == vessel_id)
    found = _movements(
        connection, or_(movement.c.to_vessel_id == vessel_id, movement.c.number.in_(taken)), limit=10_000
    )
    return sorted(found, key=lambda one: (one.at_us, one.number))


def movement_by_number(connection: Connection, number: int) -> Movement | None:
    """Return one movement."""
    found = _movements(connection, movement.c.number == number, limit=1)
    return found[0] if found else None


def _movements(connection: Connection, condition: Any, *, limit: int) -> list[Movement]:
    query = (
        select(movement, ledger.c.actor)
        .join(ledger, ledger.c.number == movement.c.number)
        .where(condition)
        .order_by(movement.c.number)
        .limit(limit)
    )
    rows = connection.execute(query).all()
    parts = _parts(connection, [row.number for row in rows])
    return [
        Movement(
            row.number,
            row.at_us,
            row.kind,
            row.to_lot_id,
            row.to_vessel_id,
            row.note,
            row.actor,
            tuple(parts.get(row.number, ())),
        )
        for row in rows
    ]


def _parts(connection: Connection, numbers: Iterable[int]) -> dict[int, list[MovementPart]]:
    found: dict[int, list[MovementPart]] = {}
    query = (
        select(movement_part)
        .where(movement_part.c.number.in_(list(numbers)))
        .order_by(movement_part.c.number, movement_part.c.ordinal)
    )
    for row in connection.execute(query):
        part = MovementPart(row.from_lot_id, row.from_vessel_id, row.volume_l)
        found.setdefault(row.number, []).append(part)
    return found


def additions(
    connection: Connection, *, lot_id: int | None = None, after: int = 0, limit: int = 1000
) -> list[Addition]:
    """Return additions in the order in which they were planned, of a lot if one is named."""
    condition = addition.c.number > after
    if lot_id is not None:
        condition = condition & (addition.c.lot_id == lot_id)
    return _additions(connection, condition, addition.c.number, limit)


def newest_additions(
    connection: Connection, *, lot_id: int | None = None, before: int, limit: int
) -> list[Addition]:
    """Return the additions that were planned last before a number, newest first, of a lot if one is named."""
    condition = addition.c.number < before
    if lot_id is not None:
        condition = condition & (addition.c.lot_id == lot_id)
    return _additions(connection, condition, addition.c.number.desc(), limit)


def addition_by_number(connection: Connection, number: int) -> Addition | None:
    """Return one addition."""
    found = _additions(connection, addition.c.number == number, addition.c.number, 1)
    return found[0] if found else None


def addition_weighed_by(connection: Connection, reading_id: int) -> int | None:
    """Return the number of the addition whose mass a reading is; None if it is none's."""
    query = select(addition_step.c.addition_id).where(addition_step.c.reading_id == reading_id).limit(1)
    found: int | None = connection.execute(query).scalar_one_or_none()
    return found


def _additions(connection: Connection, condition: Any, order: Any, limit: int) -> list[Addition]:
    query = (
        select(addition, ledger.c.at_us, ledger.c.actor, ledger.c.reason)
        .join(ledger, ledger.c.number == addition.c.number)
        .where(condition)
        .order_by(order)
        .limit(limit)
    )
    rows = connection.execute(query).all()
    steps = _steps(connection, [row.number for row in rows])
    return [
        Addition(
            row.number,
            row.lot_id,
            row.vessel_id,
            row.substance_id,
            row.quantity,
            row.plan,
            row.at_us,
            row.actor,
            row.reason,
            tuple(steps.get(row.number, ())),
        )
        for row in rows
    ]


def _steps(connection: Connection, numbers: Iterable[int]) -> dict[int, list[AdditionStep]]:
    found: dict[int, list[AdditionStep]] = {}
    query = (
        select(addition_step, ledger.c.actor, ledger.c.reason)
        .join(ledger, ledger.c.number == addition_step.c.number)
        .where(addition_step.c.addition_id.in_(list(numbers)))
        .order_by(addition_step.c.number)
    )
    for row in connection.execute(query):
        step = AdditionStep(
            row.number,
            row.step,
            row.at_us,
            row.mass_g,
            row.reading_id,
            row.details,
            row.actor,
            row.reason,
        )
        found.setdefault(row.addition_id, []).append(step)
    return found

"""Where wine went: filled, racked, blended, topped, bottled or lost; entered once and never changed."""

from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.kinds.cellar import Lot, Vessel
from bench.records import find_usable
from bench.refused import Fault, MalformedError, RefusedError
from storage.bench_rows import MovementPartRow, MovementRow
from storage.queries.cellar import Movement, movements_of_lot
from storage.transaction import Transaction

Kind = Literal["fill", "rack", "blend", "top", "bottle", "loss"]
DEEPEST: Final = 50  # generations of a lineage; a wine has a handful


class NewPart(NamedTuple):
    """Wine that goes into a movement; from outside the cellar if neither is named."""

    volume_l: float
    lot: str | None = None
    vessel: str | None = None


class NewMovement(NamedTuple):
    """A movement that is to be entered."""

    kind: Kind
    at_us: int
    to_lot: str
    parts: tuple[NewPart, ...]
    to_vessel: str | None = None
    note: str = ""


class Ancestor(NamedTuple):
    """A movement on the way to a lot, and how many steps before it."""

    movement: Movement
    depth: int


def move(tx: Transaction, actor: Actor, new: NewMovement) -> int:
    """Enter a movement and return its number.

    Raises
    ------
    NotThereError
        If a lot or vessel is not known.
    MalformedError
        If a volume is not above zero, there are no parts, or it lies in the future.
    RefusedError
        If a lot would be blended or topped into itself.
    """
    if new.at_us > actor.at_us:
        raise MalformedError("act.future", "nothing was moved in the future", Fault("at", "later than now"))
    if not new.parts:
        raise MalformedError("movement.no_parts", "say what was moved", Fault("parts", "give at least one"))
    to_lot = find_usable(tx.connection, Lot, new.to_lot)
    to_vessel = None if new.to_vessel is None else find_usable(tx.connection, Vessel, new.to_vessel)
    parts = [_part(tx, new, ordinal, part) for ordinal, part in enumerate(new.parts)]
    row = MovementRow(
        new.at_us, new.kind, to_lot.record_id, None if to_vessel is None else to_vessel.record_id, new.note
    )
    return tx.enter(
        "wine.moved",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"movement": [row], "movement_part": parts},
    )


def _part(tx: Transaction, new: NewMovement, ordinal: int, part: NewPart) -> MovementPartRow:
    field = f"parts.{ordinal}"
    if not 0 < part.volume_l < float("inf"):
        detail = f"a volume of {part.volume_l:g} L was given: it must be more than 0"
        raise MalformedError("movement.volume", detail, Fault(f"{field}.volume_l", detail))
    if part.lot == new.to_lot and new.kind in ("blend", "top"):
        detail = f"{part.lot} would be blended into itself: give the blend a lot of its own"
        raise RefusedError("movement.into_itself", detail, Fault(f"{field}.lot", detail))
    if part.vessel is not None and part.vessel == new.to_vessel:
        detail = f"from vessel {part.vessel} into itself: look which vessel it was"
        raise RefusedError("movement.into_itself", detail, Fault(f"{field}.vessel", detail))
    lot = None if part.lot is None else find_usable(tx.connection, Lot, part.lot)
    vessel = None if part.vessel is None else find_usable(tx.connection, Vessel, part.vessel)
    return MovementPartRow(
        ordinal,
        None if lot is None else lot.record_id,
        None if vessel is None else vessel.record_id,
        part.volume_l,
    )


def lineage(connection: Connection, lot_id: int) -> list[Ancestor]:
    """Return the movements that a lot came from, its own first, then those of the lots that went into it.

    Only what happened before a lot went in counts, so that the walk ends even where wine went to and fro.
    """
    return list(_walk(connection, lot_id, None, 1, set()))


def _walk(
    connection: Connection, lot_id: int, before_us: int | None, depth: int, seen: set[int]
) -> Iterator[Ancestor]:
    if depth > DEEPEST:
        return
    for one in _into(movements_of_lot(connection, lot_id), lot_id):
        if one.number in seen or (before_us is not None and one.at_us > before_us):
            continue
        seen.add(one.number)
        yield Ancestor(one, depth)
        for origin in dict.fromkeys(part.from_lot_id for part in one.parts):
            if origin is not None and origin != lot_id:
                yield from _walk(connection, origin, one.at_us, depth + 1, seen)


def _into(found: Sequence[Movement], lot_id: int) -> list[Movement]:
    return [one for one in found if one.to_lot_id == lot_id]


def went_into(connection: Connection, lot_id: int) -> list[Movement]:
    """Return the movements that took wine of a lot into another, in the order of time."""
    return [one for one in movements_of_lot(connection, lot_id) if one.to_lot_id != lot_id]

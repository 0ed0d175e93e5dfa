"""Pins at the bench: who may set one, what a try amounts to, and the ways out of a lock.

Two ways lead out of a lock: some minutes, or a new pin from a manager. Hashing is slow, so a try is settled
in two steps: it is compared outside the writer, then counted in it.
"""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection, select

from bench.actor import Actor
from bench.kinds.laboratory import Person
from bench.people import TRIES, HeldPin, held_pin, note_right_pin, note_wrong_pin, set_pin
from bench.records import find, find_usable, read
from bench.refused import ForbiddenError
from storage.queries.records import record_by_code, records_of_kind
from storage.schema import pin, pin_failure
from storage.transaction import Transaction

MOST_PEOPLE: Final = 10_000


@dataclass(frozen=True, slots=True)
class PinState:
    """What may be known of a pin."""

    is_set: bool
    locked_until_us: int | None
    """None while it is not locked. [µs]"""
    tries_left: int


def pin_state(connection: Connection, initials: str, now_us: int) -> PinState:
    """Return whether a person has a pin, and whether it is locked. [µs]"""
    person = find(connection, Person, initials)
    failed = connection.execute(
        select(pin_failure).where(pin_failure.c.person_id == person.record_id)
    ).one_or_none()
    locked = None if failed is None else failed.locked_until_us
    is_locked = locked is not None and locked > now_us
    left = 0 if is_locked else TRIES - (0 if failed is None else failed.failures)
    return PinState(_has_pin(connection, person.record_id), locked if is_locked else None, left)


def give_pin(
    tx: Transaction, actor: Actor, initials: str, prepared: tuple[bytes, bytes], *, by_old_pin: bool
) -> None:
    """Give a person a new pin; the old one and its lock end.

    Parameters
    ----------
    prepared : tuple of bytes
        As `bench.people.prepare_pin` made it.
    by_old_pin : bool
        Whether the old pin was given and is right.

    Raises
    ------
    ForbiddenError
        If it is neither the person with the old pin, nor a manager; as long as no manager has a pin, the
        first one may be set by anybody.
    """
    person = find_usable(tx.connection, Person, initials)
    is_own_first = actor.name == initials and not _has_pin(tx.connection, person.record_id)
    if not (by_old_pin or is_own_first or may_manage(tx.connection, actor.name)):
        raise ForbiddenError(
            "pin.not_yours",
            f"{actor.name} may not set the pin of {initials}: give the old pin, or ask a manager",
        )
    set_pin(tx, actor, initials, prepared)


def may_manage(connection: Connection, initials: str) -> bool:
    """Tell whether somebody is a manager, or no manager has a pin yet."""
    people = records_of_kind(connection, "person", retired=False, limit=MOST_PEOPLE)
    managers = [one for one in people if "manager" in read(one, Person).body.roles]
    if not any(_has_pin(connection, one.record_id) for one in managers):
        return True
    found = record_by_code(connection, "person", initials)
    return found is not None and any(one.record_id == found.record_id for one in managers)


def settle_try(tx: Transaction, actor: Actor, held: HeldPin, *, is_right: bool) -> int | None:
    """Count a try that was compared outside, and return how many are left; None for the right pin.

    Raises `ForbiddenError` if the pin was locked meanwhile: tries that come together do not get past a lock.
    """
    held_pin(tx.connection, held.person.code, actor.at_us)
    if is_right:
        note_right_pin(tx, held.person.record_id)
        return None
    left = note_wrong_pin(tx, held.person.record_id, actor.at_us)
    if left == 0:
        tx.enter("pin.locked", at_us=actor.at_us, actor=actor.name, actor_kind=actor.kind, rows={})
    return left


def wrong_pin(initials: str, left: int) -> ForbiddenError:
    """Return the refusal of a wrong pin, with the way out once it is locked."""
    if left == 0:
        return ForbiddenError(
            "pin.locked",
            f"that was the fifth wrong pin: the pin of {initials} is locked for 5 min; wait, or let a manager"
            " set a new one",
        )
    tries = "1 try is" if left == 1 else f"{left} tries are"
    return ForbiddenError("pin.wrong", f"this is not the pin of {initials}; {tries} left")


def _has_pin(connection: Connection, person_id: int) -> bool:
    return (
        connection.execute(select(pin.c.number).where(pin.c.person_id == person_id).limit(1)).first()
        is not None
    )

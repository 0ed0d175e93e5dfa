"""People by initials and a short pin: enough to say who it was, with wet hands.

A pin is short, so it is kept under a slow hash and locked after wrong tries.
"""

import os
from dataclasses import dataclass
from hashlib import scrypt
from hmac import compare_digest
from typing import Final

from sqlalchemy import Connection, delete, insert, select

from bench.actor import Actor
from bench.kinds.laboratory import Person
from bench.records import Record, find_usable
from bench.refused import Fault, ForbiddenError, MalformedError
from storage.bench_rows import PinRow
from storage.schema import pin, pin_failure
from storage.transaction import Transaction

PIN_DIGITS: Final = (4, 8)
"""Shortest and longest pin. Common practice, no source."""
TRIES: Final = 5
"""Wrong pins in a row before a lock. Common practice, no source."""
LOCKED_FOR_US: Final = 300_000_000
"""How long a pin is locked: a machine would need years for 10^4 pins. [µs]"""
COST: Final = "scrypt:14:8:1"
"""Hash and its parameters: log2 of the rounds, block size, lanes; RFC 7914. About 50 ms and 16 MiB."""


@dataclass(frozen=True, slots=True)
class HeldPin:
    """What is known of a person's pin."""

    person: Record[Person]
    salt: bytes
    hash: bytes
    cost: str
    failures: int
    """Wrong tries in a row."""


def prepare_pin(digits: str) -> tuple[bytes, bytes]:
    """Return salt and hash of a new pin. Slow on purpose: never call it in the writer.

    Raises `MalformedError` if it is not 4 to 8 digits, or one digit over and over.
    """
    shortest, longest = PIN_DIGITS
    if not (digits.isascii() and digits.isdigit() and shortest <= len(digits) <= longest):
        fault = Fault("pin", f"{shortest} to {longest} digits")
        raise MalformedError("pin.malformed", f"a pin is {shortest} to {longest} digits", fault)
    if len(set(digits)) == 1:
        fault = Fault("pin", "use different digits")
        raise MalformedError("pin.malformed", "one digit over and over is no pin", fault)
    salt = os.urandom(16)
    return salt, hashed(digits, salt, COST)


def set_pin(tx: Transaction, actor: Actor, initials: str, prepared: tuple[bytes, bytes]) -> None:
    """Give a person a new pin, made by :func:`prepare_pin`; the old one and its lock end."""
    person = find_usable(tx.connection, Person, initials)
    tx.enter(
        "pin.set",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"pin": [PinRow(person.record_id, *prepared, COST)]},
    )
    note_right_pin(tx, person.record_id)


def held_pin(connection: Connection, initials: str, at_us: int) -> HeldPin:
    """Return the pin of a person, to be compared by :func:`matches`. [µs]

    Raises `ForbiddenError` if it is locked or was never set.
    """
    person = find_usable(connection, Person, initials)
    failed = connection.execute(
        select(pin_failure).where(pin_failure.c.person_id == person.record_id)
    ).one_or_none()
    if failed is not None and failed.locked_until_us is not None and failed.locked_until_us > at_us:
        minutes = -(-(failed.locked_until_us - at_us) // 60_000_000)
        raise ForbiddenError("pin.locked", f"the pin of {initials} is locked for {minutes} min: wrong tries")
    newest = select(pin).where(pin.c.person_id == person.record_id).order_by(pin.c.number.desc()).limit(1)
    held = connection.execute(newest).one_or_none()
    if held is None:
        raise ForbiddenError("pin.unset", f"{initials} has no pin yet; a manager sets the first one")
    return HeldPin(person, held.salt, held.hash, held.cost, 0 if failed is None else failed.failures)


def matches(held: HeldPin, digits: str) -> bool:
    """Tell whether it is the right pin. Slow on purpose: never call it in the writer."""
    return compare_digest(hashed(digits, held.salt, held.cost), held.hash)


def note_wrong_pin(tx: Transaction, person_id: int, at_us: int) -> int:
    """Count a wrong try, lock the pin at the fifth in a row, and return how many tries are left. [µs]"""
    query = select(pin_failure.c.failures).where(pin_failure.c.person_id == person_id)
    failures = (tx.connection.execute(query).scalar_one_or_none() or 0) + 1
    locked_until_us = at_us + LOCKED_FOR_US if failures >= TRIES else None
    note_right_pin(tx, person_id)
    kept = 0 if locked_until_us is not None else failures
    tx.connection.execute(
        insert(pin_failure).values(person_id=person_id, failures=kept, locked_until_us=locked_until_us)
    )
    return max(0, TRIES - failures)


def note_right_pin(tx: Transaction, person_id: int) -> None:
    """Forget the wrong tries of a person."""
    tx.connection.execute(delete(pin_failure).where(pin_failure.c.person_id == person_id))


def hashed(digits: str, salt: bytes, cost: str) -> bytes:
    """Return the slow hash of a pin, 32 bytes."""
    name, rounds, block, lanes = cost.split(":")
    if name != "scrypt":
        raise ValueError(f"a pin is kept under {name}, which this version does not know")
    return scrypt(digits.encode(), salt=salt, n=2 ** int(rounds), r=int(block), p=int(lanes), dklen=32)

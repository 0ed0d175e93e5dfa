"""Keys for programs and for whoever asks over the network: random, shown once, kept as a hash.

256 random bits cannot be guessed, so a fast hash keeps them well; a slow one would only let strangers keep
the daemon busy.
"""

import base64
import secrets
from enum import StrEnum
from hashlib import sha256
from typing import Final

from bench.actor import Actor
from bench.refused import Fault, NotThereError, RefusedError
from storage.bench_rows import AccessKeyEndRow, AccessKeyRow
from storage.queries.keys import good_key_named, key_by_number
from storage.transaction import Transaction

KEY_PREFIX: Final = "tundish_"
"""How every key begins, so that a search for secrets finds one that was left lying about."""
_KEY_BYTES: Final = 32
"""[bytes]"""
NAME_PATTERN: Final = r"^[A-Za-z0-9][A-Za-z0-9._@-]{0,31}$"
"""What a key may be called: whatever may stand as an actor in the ledger."""


class Scope(StrEnum):
    """What a key may do; each may also do what the one before may."""

    READ = "read"
    BENCH = "bench"
    MANAGE = "manage"

    def allows(self, wanted: "Scope") -> bool:
        """Tell whether this scope is enough for what is wanted."""
        order = list(Scope)
        return order.index(self) >= order.index(wanted)


def new_key() -> str:
    """Return a new key: letters and digits alone, so that a double click takes it whole."""
    return KEY_PREFIX + base64.b32encode(secrets.token_bytes(_KEY_BYTES)).decode().rstrip("=").lower()


def key_hash(key: str) -> bytes:
    """Return what is kept of a key, and by which it is found. [32 bytes]"""
    return sha256(key.encode()).digest()


def add_key(tx: Transaction, actor: Actor, name: str, scope: Scope, hashed: bytes) -> int:
    """Enter a key under its hash and return its number; raise `RefusedError` if a good key has its name."""
    if (held := good_key_named(tx.connection, name)) is not None:
        raise RefusedError(
            "key.name_taken",
            f"key {held.number} is called {name!r}: revoke that one first, or choose another name",
            Fault("name", name),
        )
    return tx.enter(
        "key.made",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"access_key": [AccessKeyRow(name, scope.value, hashed)]},
    )


def revoke_key(tx: Transaction, actor: Actor, number: int) -> int:
    """Enter that a key is no longer good and return the number of the entry.

    Raises `NotThereError` or `RefusedError` if there is no such key or it was revoked before.
    """
    held = key_by_number(tx.connection, number)
    if held is None:
        raise NotThereError("key.unknown", f"there is no key {number}")
    if held.ended_at_us is not None:
        raise RefusedError("key.revoked", f"key {number} ({held.name}) was revoked before")
    return tx.enter(
        "key.revoked",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"access_key_end": [AccessKeyEndRow(number)]},
    )

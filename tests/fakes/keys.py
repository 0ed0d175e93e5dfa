"""Keys in a store, for tests that are let in by them."""

from api.keys import Scope, add_key, key_hash, new_key, revoke_key
from bench.actor import Actor
from storage.ledger import ActorKind
from storage.store import Store
from tests.fakes.filled_store import NOON_US

BY_AB = Actor("AB", ActorKind.PERSON, NOON_US)


def hand_out(store: Store, name: str, scope: Scope) -> str:
    """Enter a new key in a store and return it."""
    key = new_key()
    store.writer.submit(lambda tx: add_key(tx, BY_AB, name, scope, key_hash(key))).result()
    return key


def take_back(store: Store, number: int) -> None:
    """Revoke a key."""
    store.writer.submit(lambda tx: revoke_key(tx, BY_AB, number)).result()

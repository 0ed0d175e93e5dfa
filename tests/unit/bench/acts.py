"""Acts of the bench in tests: run in the writer, by somebody, at noon."""

from collections.abc import Callable
from typing import Any, TypeVar

from bench import records
from bench.actor import Actor
from bench.intake import Intake
from storage.ledger import ActorKind
from storage.store import Store
from storage.transaction import Transaction
from tests.fakes.filled_store import NOON_US

Answer = TypeVar("Answer")


def person(initials: str = "MAL", at_us: int = NOON_US, reason: str | None = None) -> Actor:
    return Actor(initials, ActorKind.PERSON, at_us, reason)


def act(store: Store, work: Callable[[Transaction], Answer]) -> Answer:
    return store.writer.submit(work).result(10)


def make(store: Store, kind: str, code: str, **fields: Any) -> int:
    return act(store, lambda tx: records.make(tx, person(), kind, code, fields, valid_from_us=NOON_US))


def take_in(store: Store) -> None:
    intake = Intake(store, lambda: NOON_US, "tundish")
    while intake.step():
        pass

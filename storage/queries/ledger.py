"""The ledger, and what the store is."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection, func, select

from storage.schema import ledger, store_info


@dataclass(frozen=True, slots=True)
class LedgerRecord:
    """One entry of the ledger."""

    number: int
    at_us: int
    actor: str
    actor_kind: str
    action: str
    reason: str | None
    digest: bytes
    link: bytes


@dataclass(frozen=True, slots=True)
class StoreInfo:
    """What the store is."""

    store_id: str
    kind: str
    created_at_us: int


_HEAD: Final = select(func.max(ledger.c.number))


def head(connection: Connection) -> int:
    """Return the number of the last ledger entry; 0 in an empty store."""
    return connection.execute(_HEAD).scalar() or 0


def ledger_after(connection: Connection, *, after: int, limit: int) -> list[LedgerRecord]:
    """Return the ledger entries after a number, in order."""
    statement = select(ledger).where(ledger.c.number > after).order_by(ledger.c.number).limit(limit)
    return [LedgerRecord(*row) for row in connection.execute(statement)]


def info(connection: Connection) -> StoreInfo:
    """Return what the store is."""
    row = connection.execute(
        select(store_info.c.store_id, store_info.c.kind, store_info.c.created_at_us)
    ).one()
    return StoreInfo(*row)

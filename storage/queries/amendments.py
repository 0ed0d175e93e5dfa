"""Amendments as they were asked for, with their state."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, func, select

from storage.schema import amendment, amendment_item, amendment_state, ledger


@dataclass(frozen=True, slots=True)
class AskedAmendment:
    """An amendment with who asked for it, when and why."""

    number: int
    kind: str
    scope: str
    """Canonical JSON of what was asked."""
    state: str | None
    """in_force, undone or abandoned; None while it is staged."""
    results: int
    """How many results it has values for."""
    actor: str
    at_us: int
    reason: str | None


def _asked() -> Select[Any]:
    state = (
        select(amendment_state.c.state)
        .where(amendment_state.c.amendment_id == amendment.c.number)
        .order_by(amendment_state.c.number.desc())
        .limit(1)
        .scalar_subquery()
    )
    count = (
        select(func.count())
        .select_from(amendment_item)
        .where(amendment_item.c.amendment_id == amendment.c.number)
        .scalar_subquery()
    )
    return select(
        amendment.c.number,
        amendment.c.kind,
        amendment.c.scope,
        state.label("state"),
        count.label("results"),
        ledger.c.actor,
        ledger.c.at_us,
        ledger.c.reason,
    ).join(ledger, ledger.c.number == amendment.c.number)


def newest_amendments(connection: Connection, kinds: tuple[str, ...], limit: int) -> list[AskedAmendment]:
    """Return the amendments of some kinds that were asked for last, newest first."""
    query = _asked().where(amendment.c.kind.in_(kinds)).order_by(amendment.c.number.desc()).limit(limit)
    return [AskedAmendment(*row) for row in connection.execute(query)]


def amendment_by_number(connection: Connection, number: int) -> AskedAmendment | None:
    """Return one amendment."""
    row = connection.execute(_asked().where(amendment.c.number == number)).one_or_none()
    return None if row is None else AskedAmendment(*row)


def values_of_amendment(connection: Connection, number: int) -> dict[int, float | None]:
    """Return what an amendment says of each of its results, by their ids."""
    query = select(amendment_item.c.result_id, amendment_item.c.value).where(
        amendment_item.c.amendment_id == number
    )
    return {
        row.result_id: row.value for row in connection.execute(query.order_by(amendment_item.c.result_id))
    }

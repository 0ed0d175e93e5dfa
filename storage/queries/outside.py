"""Numbers of other laboratories, as they were entered."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from storage.schema import ledger, outside_result


@dataclass(frozen=True, slots=True)
class OutsideResult:
    """One number of another laboratory, under the name that it used."""

    number: int
    source: str
    alias: str
    lot_id: int | None
    sample_id: int | None
    reading_id: int | None
    at_us: int
    quantity: str
    outcome: str
    value_numeral: str | None
    value: float | None
    unit: str
    uncertainty: float | None
    method: str
    actor: str


def outside_results(
    connection: Connection,
    *,
    source: str | None = None,
    alias: str | None = None,
    quantity: str | None = None,
    after: int = 0,
    limit: int = 1000,
) -> list[OutsideResult]:
    """Return what other laboratories found, in the order in which it was entered."""
    query = (
        select(outside_result, ledger.c.actor)
        .join(ledger, ledger.c.number == outside_result.c.number)
        .where(outside_result.c.number > after)
    )
    for column, wanted in (
        (outside_result.c.source, source),
        (outside_result.c.alias, alias),
        (outside_result.c.quantity, quantity),
    ):
        if wanted is not None:
            query = query.where(column == wanted)
    rows = connection.execute(query.order_by(outside_result.c.number).limit(limit))
    return [_as_outside(row) for row in rows]


def _as_outside(row: Any) -> OutsideResult:
    names = [name for name in OutsideResult.__dataclass_fields__ if name != "actor"]
    return OutsideResult(**{name: getattr(row, name) for name in names}, actor=row.actor)

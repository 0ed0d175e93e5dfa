"""Numbers of other laboratories, as they were entered."""

from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import Connection, func, select

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


class UnownedName(NamedTuple):
    """A name of another laboratory that meant nothing when its numbers came."""

    source: str
    alias: str
    first_us: int
    """When the first of them was measured. [µs]"""


def unowned_names(connection: Connection) -> list[UnownedName]:
    """Return the names whose numbers were entered without a lot or a sample, by source and name."""
    first_us = func.min(outside_result.c.at_us)
    query = (
        select(outside_result.c.source, outside_result.c.alias, first_us)
        .where(outside_result.c.lot_id.is_(None), outside_result.c.sample_id.is_(None))
        .group_by(outside_result.c.source, outside_result.c.alias)
        .order_by(outside_result.c.source, outside_result.c.alias)
    )
    return [UnownedName(*row) for row in connection.execute(query)]

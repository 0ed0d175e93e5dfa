"""Every value that a result ever had: the original, and each amendment of it, in force or not."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, select

from storage.schema import amendment, amendment_item, amendment_state, ledger


@dataclass(frozen=True, slots=True)
class AmendedValue:
    """What one amendment says of a result, and who brought it when and why."""

    version: int
    amendment_id: int
    kind: str
    state: str | None
    """in_force, undone or abandoned; None while it is staged."""
    outcome: str
    value_numeral: str | None
    value: float | None
    unit: str
    uncertainty: float | None
    formula: str
    inputs: str
    actor: str
    at_us: int
    reason: str | None


def amended_values(connection: Connection, result_id: int) -> list[AmendedValue]:
    """Return what amendments say of a result, oldest first."""
    newest_state = (
        select(amendment_state.c.state)
        .where(amendment_state.c.amendment_id == amendment_item.c.amendment_id)
        .order_by(amendment_state.c.number.desc())
        .limit(1)
        .scalar_subquery()
    )
    query: Select[Any] = (
        select(
            amendment_item.c.version,
            amendment_item.c.amendment_id,
            amendment.c.kind,
            newest_state.label("state"),
            amendment_item.c.outcome,
            amendment_item.c.value_numeral,
            amendment_item.c.value,
            amendment_item.c.unit,
            amendment_item.c.uncertainty,
            amendment_item.c.formula,
            amendment_item.c.inputs,
            ledger.c.actor,
            ledger.c.at_us,
            ledger.c.reason,
        )
        .join(amendment, amendment.c.number == amendment_item.c.amendment_id)
        .join(ledger, ledger.c.number == amendment.c.number)
        .where(amendment_item.c.result_id == result_id)
        .order_by(amendment_item.c.version)
    )
    return [AmendedValue(*row) for row in connection.execute(query)]

"""One row an addition: what was planned, weighed and done, by whom and why."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from sqlalchemy import Connection, func, select

from storage.csv_text.dialects import Kind, Reader
from storage.csv_text.sheet import Heading, Row, Sheet
from storage.queries.cellar import Addition, additions
from storage.schema import addition, addition_step, record

WINDOW: Final = 500
HEADINGS: Final = (
    Heading("addition", Kind.INTEGER),
    Heading("revision", Kind.INTEGER),
    Heading("state", Kind.TEXT),
    Heading("planned_at_utc", Kind.MOMENT),
    Heading("lot", Kind.TEXT),
    Heading("vessel", Kind.TEXT),
    Heading("substance", Kind.TEXT),
    Heading("quantity", Kind.TEXT),
    Heading("volume_l", Kind.NUMERAL),
    Heading("planned_g", Kind.NUMERAL),
    Heading("weighed_g", Kind.NUMERAL),
    Heading("planned_mg_l", Kind.NUMERAL),
    Heading("expected_free_mg_l", Kind.NUMERAL),
    Heading("weighed_at_utc", Kind.MOMENT),
    Heading("done_at_utc", Kind.MOMENT),
    Heading("planned_by", Kind.TEXT),
    Heading("done_by", Kind.TEXT),
    Heading("why", Kind.TEXT),
    Heading("store", Kind.TEXT),
)


@dataclass(frozen=True, slots=True)
class AdditionSheetFilter:
    """Which additions are wanted; None asks for all."""

    lot: str | None = None
    state: str | None = None
    from_us: int | None = None
    to_us: int | None = None
    """When it was planned; exclusive. [µs]"""
    since: int = 0
    """Only what an entry after this one touched."""
    up_to: int = 2**63 - 1
    """Entries beyond it are not shown."""


def additions_sheet(reader: Reader, wanted: AdditionSheetFilter, *, store_kind: str) -> Sheet:
    """Return the sheet of additions, in the order in which they were planned."""

    def windows() -> Iterator[Sequence[Row]]:
        after = 0
        while True:
            with reader() as connection:
                found = additions(connection, after=after, limit=WINDOW)
                codes = _codes(connection, found)
            shown = [one for one in found if _is_wanted(one, wanted, codes)]
            yield [_row(one, codes, store_kind) for one in shown]
            if len(found) < WINDOW:
                return
            after = found[-1].number

    return Sheet(HEADINGS, windows, _count)


def _count(connection: Connection, limit: int) -> int:
    some = select(addition.c.number).limit(limit).subquery()
    return connection.execute(select(func.count()).select_from(some)).scalar_one()


def _codes(connection: Connection, found: Sequence[Addition]) -> dict[int | None, str]:
    """Return the codes of the records that additions name, by their ids."""
    ids = {one for each in found for one in (each.lot_id, each.vessel_id, each.substance_id)} - {None}
    query = select(record.c.record_id, record.c.code).where(
        record.c.record_id.in_(list(ids)), record.c.version == 1
    )
    return {row[0]: row[1] for row in connection.execute(query)}


def _revision(one: Addition) -> int:
    return max([one.number, *(step.number for step in one.steps)])


def _is_wanted(one: Addition, wanted: AdditionSheetFilter, codes: dict[int | None, str]) -> bool:
    return (
        (wanted.lot is None or codes.get(one.lot_id) == wanted.lot)
        and (wanted.state is None or one.state == wanted.state)
        and (wanted.from_us is None or one.planned_at_us >= wanted.from_us)
        and (wanted.to_us is None or one.planned_at_us < wanted.to_us)
        and wanted.since < _revision(one)
        and one.number <= wanted.up_to
    )


def _row(one: Addition, codes: dict[int | None, str], store_kind: str) -> Row:
    plan: dict[str, Any] = json.loads(one.plan)
    weighed, done = one.last("weighed"), one.last("done")
    return (
        one.number,
        _revision(one),
        one.state,
        one.planned_at_us,
        codes.get(one.lot_id),
        codes.get(one.vessel_id),
        codes.get(one.substance_id),
        one.quantity,
        _numeral(plan.get("volume_l")),
        _numeral(plan.get("salt_g")),
        None if weighed is None else _numeral(weighed.mass_g),
        _numeral(plan.get("added_mg_l")),
        _numeral(plan.get("free_mg_l")),
        None if weighed is None else weighed.at_us,
        None if done is None else done.at_us,
        one.actor,
        None if done is None else done.actor,
        one.reason,
        store_kind,
    )


def _numeral(value: float | None) -> str | None:
    """Return a number without an exponent, with the digits that tell it from every other double."""
    return None if value is None else f"{Decimal(repr(float(value))):f}"


def additions_revision(connection: Connection) -> int:
    """Return the ledger number of what last changed what the sheet shows."""
    shown = (addition, addition_step, record)
    newest = (connection.execute(select(func.max(table.c.number))).scalar() for table in shown)
    return max(number or 0 for number in newest)

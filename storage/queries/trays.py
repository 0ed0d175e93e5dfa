"""Trays, what stands on an instrument, and the ties of readings."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Select, bindparam, func, select

from storage.queries.distinct import distinct
from storage.schema import ledger, on_instrument, tie, tray_item


@dataclass(frozen=True, slots=True)
class TrayItem:
    """The newest version of a place on a tray."""

    number: int
    """The revision."""
    item_id: int
    version: int
    instrument: str
    place: float
    """Orders the tray."""
    kind: str
    sample_id: int | None
    standard_id: int | None
    tests: str
    """JSON list of method codes."""
    state: str


@dataclass(frozen=True, slots=True)
class OnInstrument:
    """What stands on an instrument from a moment on."""

    number: int
    instrument: str
    at_us: int
    item_id: int | None
    sample_id: int | None
    set_by: str


@dataclass(frozen=True, slots=True)
class Tie:
    """An act that bound a reading to a sample, or took it off."""

    number: int
    ordinal: int
    reading_id: int
    sample_id: int | None
    item_id: int | None
    how: str
    conflict: str | None


@dataclass(frozen=True, slots=True)
class TieChange:
    """A tie with who made it, when and why."""

    tie: Tie
    actor: str
    at_us: int
    reason: str | None


def _current_items() -> Select[Any]:
    newer = tray_item.alias("newer")
    behind = select(newer.c.number).where(
        newer.c.item_id == tray_item.c.item_id, newer.c.version > tray_item.c.version
    )
    return select(tray_item).where(~behind.exists())


def _as_item(row: Any) -> TrayItem:
    return TrayItem(
        number=row.number,
        item_id=row.item_id,
        version=row.version,
        instrument=row.instrument,
        place=row.place,
        kind=row.kind,
        sample_id=row.sample_id,
        standard_id=row.standard_id,
        tests=row.tests,
        state=row.state,
    )


_ON_TRAY: Final = (
    _current_items()
    .where(tray_item.c.instrument == bindparam("instrument"))
    .order_by(tray_item.c.place, tray_item.c.item_id)
)
_ON_TRAY_IN_STATE: Final = _ON_TRAY.where(tray_item.c.state == bindparam("state"))
_ITEM: Final = _current_items().where(tray_item.c.item_id == bindparam("id"))
_ON_LAST: Final = (
    select(on_instrument)
    .where(on_instrument.c.instrument == bindparam("instrument"))
    .order_by(on_instrument.c.number.desc())
    .limit(1)
)
_ON_AT: Final = _ON_LAST.where(on_instrument.c.at_us <= bindparam("at_us"))


def tray_items(connection: Connection, instrument: str, state: str | None = None) -> list[TrayItem]:
    """Return what is on the tray of an instrument, in its order."""
    if state is None:
        return list(map(_as_item, connection.execute(_ON_TRAY, {"instrument": instrument})))
    rows = connection.execute(_ON_TRAY_IN_STATE, {"instrument": instrument, "state": state})
    return list(map(_as_item, rows))


def instruments_with_trays(connection: Connection) -> list[str]:
    """Return the instruments that ever had a tray, by name."""
    query = select(tray_item.c.instrument).distinct().order_by(tray_item.c.instrument)
    return list(connection.execute(query).scalars())


def tray_item_by_id(connection: Connection, item_id: int) -> TrayItem | None:
    """Return a place on a tray as it is now."""
    row = connection.execute(_ITEM, {"id": item_id}).one_or_none()
    return None if row is None else _as_item(row)


def last_place(connection: Connection, instrument: str) -> float:
    """Return the place of the last item that a tray ever had; 0 for none."""
    query = select(func.max(tray_item.c.place)).where(tray_item.c.instrument == instrument)
    return float(connection.execute(query).scalar() or 0.0)


def on_instrument_at(
    connection: Connection, instrument: str, at_us: int | None = None
) -> OnInstrument | None:
    """Return what stood on an instrument at a moment, as far as was entered; None for the last. [µs]"""
    given: dict[str, Any] = {"instrument": instrument}
    query = _ON_LAST
    if at_us is not None:
        query, given["at_us"] = _ON_AT, at_us
    row = connection.execute(query, given).one_or_none()
    return None if row is None else OnInstrument(*row[:6])


_EVER_SET: Final = distinct(on_instrument.c.instrument)


def instruments_ever_set(connection: Connection, instruments: Collection[str]) -> set[str]:
    """Return those of the instruments for which it was ever said what stands on them."""
    return set(instruments) & set(connection.execute(_EVER_SET).scalars())


_TIES: Final = (
    select(tie).where(tie.c.reading_id.in_(bindparam("ids", expanding=True))).order_by(tie.c.number)
)


def tie_of(connection: Connection, reading_id: int) -> Tie | None:
    """Return the newest tie of a reading."""
    return ties_of(connection, [reading_id]).get(reading_id)


def ties_of(connection: Connection, reading_ids: Sequence[int]) -> dict[int, Tie]:
    """Return the newest tie of each reading that has one."""
    rows = connection.execute(_TIES, {"ids": reading_ids})
    return {row.reading_id: Tie(*row[:7]) for row in rows}


def tie_history(connection: Connection, reading_id: int) -> list[TieChange]:
    """Return every tie of a reading, oldest first, with who made it."""
    query = (
        select(tie, ledger.c.actor, ledger.c.at_us, ledger.c.reason)
        .join(ledger, ledger.c.number == tie.c.number)
        .where(tie.c.reading_id == reading_id)
        .order_by(tie.c.number)
    )
    return [TieChange(Tie(*row[:7]), row.actor, row.at_us, row.reason) for row in connection.execute(query)]


def readings_tied_to(connection: Connection, sample_id: int) -> list[int]:
    """Return the ids of the readings whose newest tie names a sample, oldest first."""
    newer = tie.alias("newer")
    behind = select(newer.c.number).where(
        newer.c.reading_id == tie.c.reading_id, newer.c.number > tie.c.number
    )
    query = select(tie.c.reading_id).where(tie.c.sample_id == sample_id, ~behind.exists())
    return list(connection.execute(query.order_by(tie.c.reading_id)).scalars())

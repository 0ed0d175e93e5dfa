"""What waits at an instrument, in order, and what stands on it now.

Several people may work on one tray: each change names one place and the version it was made from.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection

from bench.actor import Actor
from bench.canonical_json import from_text, to_text
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method, Reagent
from bench.records import find, find_usable
from bench.refused import Fault, MalformedError, NotThereError, RefusedError
from storage.bench_rows import OnInstrumentRow, TrayItemRow
from storage.queries.results import methods_measured
from storage.queries.trays import TrayItem, last_place, tray_item_by_id, tray_items
from storage.transaction import Transaction

NAMED_BY: Final = {
    "sample": "sample",
    "duplicate": "sample",
    "standard": "standard",
    "check": "standard",
    "buffer": "standard",
    "blank": "",
}
"""What each kind of item names: a sample, a standard (any reagent with a known value), or nothing."""


@dataclass(frozen=True, slots=True)
class NewItem:
    """What is to be put on a tray."""

    kind: str
    sample: str | None = None
    """Code of the sample, of a sample or a duplicate."""
    standard: str | None = None
    """Code of the reagent, of a standard, a check or a buffer."""
    tests: tuple[str, ...] = ()
    """Codes of the methods asked of it."""


def put(tx: Transaction, actor: Actor, instrument: str, items: Sequence[NewItem]) -> list[int]:
    """Put items at the end of a tray, in their order; return their ids.

    Raises
    ------
    MalformedError, NotThereError, RefusedError
        If an item cannot be right, or names what is not there or is retired. Then none is put.
    """
    if not items:
        raise MalformedError(
            "tray.empty_request", "there is nothing to put on the tray", Fault("items", "give one")
        )
    place = last_place(tx.connection, instrument) + 1
    return [
        _put_one(tx, actor, _new_row(tx, index, instrument, place + index, item))
        for index, item in enumerate(items)
    ]


def _put_one(tx: Transaction, actor: Actor, row: TrayItemRow) -> int:
    """Enter an item by itself: its id is the number of its entry."""
    named = row._replace(item_id=tx.next_number)
    _enter(tx, actor, "tray.item_put", [named])
    return named.item_id


def _new_row(tx: Transaction, index: int, instrument: str, place: float, item: NewItem) -> TrayItemRow:
    sample_id, standard_id = _named(tx, index, item)
    for test in item.tests:
        find_usable(tx.connection, Method, test)
    return TrayItemRow(
        ordinal=0,
        item_id=0,
        version=1,
        instrument=instrument,
        place=place,
        kind=item.kind,
        sample_id=sample_id,
        standard_id=standard_id,
        tests=to_text(list(item.tests)),
        state="waiting",
    )


def _named(tx: Transaction, ordinal: int, item: NewItem) -> tuple[int | None, int | None]:
    wanted = NAMED_BY.get(item.kind)
    if wanted is None:
        known = ", ".join(NAMED_BY)
        raise MalformedError(
            "tray.item_malformed",
            f"{item.kind!r} is no kind of item; known are {known}",
            Fault(f"items.{ordinal}.kind", known),
        )
    for field in ("sample", "standard"):
        given = getattr(item, field)
        if (given is not None) != (field == wanted):
            what = f"names a {wanted}" if wanted else "names nothing"
            raise MalformedError(
                "tray.item_malformed",
                f"a {item.kind} {what}",
                Fault(f"items.{ordinal}.{field}", f"a {item.kind} {what}"),
            )
    if item.sample is not None:
        return find_usable(tx.connection, Sample, item.sample).record_id, None
    if item.standard is not None:
        return None, find_usable(tx.connection, Reagent, item.standard).record_id
    return None, None


def remove(tx: Transaction, actor: Actor, item: int, expected_version: int) -> None:
    """Take an item off its tray."""
    found = _for_change(tx, item, expected_version)
    _enter(tx, actor, "tray.item_removed", [_changed(found, state="removed")])


def move(tx: Transaction, actor: Actor, item: int, expected_version: int, *, before: int | None) -> None:
    """Put an item before another one of its tray, or at the end."""
    found = _for_change(tx, item, expected_version)
    others = [one for one in tray_items(tx.connection, found.instrument) if one.item_id != item]
    _enter(tx, actor, "tray.item_moved", [_changed(found, place=_place_before(others, before))])


def _place_before(others: Sequence[TrayItem], before: int | None) -> float:
    if before is None:
        return (others[-1].place if others else 0.0) + 1
    at = next((index for index, one in enumerate(others) if one.item_id == before), None)
    if at is None:
        raise NotThereError(
            "tray.item_unknown", f"item {before} is not on this tray", Fault("before", str(before))
        )
    lower = others[at - 1].place if at else others[at].place - 2
    return (lower + others[at].place) / 2


def ask(tx: Transaction, actor: Actor, item: int, expected_version: int, tests: Sequence[str]) -> None:
    """Change the tests that are asked of an item."""
    found = _for_change(tx, item, expected_version)
    for test in tests:
        find_usable(tx.connection, Method, test)
    _enter(tx, actor, "tray.tests_asked", [_changed(found, tests=to_text(list(tests)))])


def mark_measured(tx: Transaction, actor: Actor, item: TrayItem) -> None:
    """Note that an item was measured, once every test asked of it has its result."""
    asked = {find(tx.connection, Method, code).record_id for code in tests_of(item)}
    sample_id = item.sample_id
    if sample_id is not None and asked - methods_measured(tx.connection, sample_id, item.item_id):
        return
    _enter(tx, actor, "tray.item_measured", [_changed(item, state="measured")])


def set_on_item(tx: Transaction, actor: Actor, instrument: str, item: int, set_by: str) -> None:
    """Say that an item of the tray stands on the instrument now."""
    found = tray_item_by_id(tx.connection, item)
    if found is None or found.instrument != instrument or found.state == "removed":
        raise NotThereError(
            "tray.item_unknown", f"item {item} is not on the tray of {instrument}", Fault("item", str(item))
        )
    _set_on(tx, actor, OnInstrumentRow(instrument, actor.at_us, item, found.sample_id, set_by))


def set_on_sample(tx: Transaction, actor: Actor, instrument: str, sample: str, set_by: str) -> None:
    """Say that a sample stands on the instrument now: its first waiting item, or the sample alone."""
    found = find_usable(tx.connection, Sample, sample)
    item = first_waiting(tx.connection, instrument, found.record_id)
    item_id = None if item is None else item.item_id
    _set_on(tx, actor, OnInstrumentRow(instrument, actor.at_us, item_id, found.record_id, set_by))


def first_waiting(connection: Connection, instrument: str, sample_id: int) -> TrayItem | None:
    """Return the first place of a sample on a tray that waits to be measured."""
    waiting = tray_items(connection, instrument, "waiting")
    return next((one for one in waiting if one.sample_id == sample_id), None)


def clear(tx: Transaction, actor: Actor, instrument: str, set_by: str) -> None:
    """Say that nothing stands on the instrument."""
    _set_on(tx, actor, OnInstrumentRow(instrument, actor.at_us, None, None, set_by))


def tests_of(item: TrayItem) -> tuple[str, ...]:
    """Return the codes of the methods asked of an item."""
    return tuple(from_text(item.tests))


def _set_on(tx: Transaction, actor: Actor, row: OnInstrumentRow) -> None:
    tx.enter(
        "instrument.set",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"on_instrument": [row]},
    )


def _for_change(tx: Transaction, item: int, expected_version: int) -> TrayItem:
    found = tray_item_by_id(tx.connection, item)
    if found is None or found.state == "removed":
        raise NotThereError("tray.item_unknown", f"item {item} is on no tray", Fault("item", str(item)))
    if found.version != expected_version:
        raise RefusedError(
            "tray.changed_meanwhile",
            f"somebody changed item {item} meanwhile: it is at version {found.version}, read the tray again",
        )
    return found


def _changed(item: TrayItem, **changes: float | str) -> TrayItemRow:
    same = TrayItemRow(
        0,
        item.item_id,
        item.version + 1,
        item.instrument,
        item.place,
        item.kind,
        item.sample_id,
        item.standard_id,
        item.tests,
        item.state,
    )
    return same._replace(**changes)  # type: ignore[arg-type]  # each change has the type of its field


def _enter(tx: Transaction, actor: Actor, action: str, rows: Sequence[TrayItemRow]) -> None:
    tx.enter(
        action,
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"tray_item": rows},
    )

"""Whose number it is: by the id in its frame, else by what stands on the instrument, else nobody's."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from bench.actor import Actor
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method
from bench.records import find, find_usable
from bench.refused import Fault, MalformedError, NotThereError
from bench.tray import first_waiting, tests_of
from storage.bench_rows import TieRow
from storage.queries.readings import UntakenReading, reading_versions
from storage.queries.records import record_by_code
from storage.queries.trays import TrayItem, instruments_ever_set, on_instrument_at, tie_of, tray_item_by_id
from storage.transaction import Transaction

SAMPLE_UNKNOWN = "tie.sample_unknown"
TWO_SAMPLES = "tie.two_samples"
MODE_AGAINST_METHOD = "tie.mode_against_method"


@dataclass(frozen=True, slots=True)
class Bond:
    """What a reading belongs to, as far as it can be told."""

    sample_id: int | None
    item_id: int | None
    how: str
    """frame or tray."""
    conflict: str | None = None
    """Code of what does not fit; such a reading gives no result that stands by itself."""


def bond(connection: Connection, reading: UntakenReading) -> Bond | None:
    """Return what a reading belongs to; None if nothing says so.

    The id in the frame wins over the tray; if the two name different samples, that is a conflict, and so is
    a mode that no test asked of the item is measured in.
    """
    on = on_instrument_at(connection, reading.instrument, reading.at_us)
    item = None if on is None or on.item_id is None else tray_item_by_id(connection, on.item_id)
    if reading.sample:
        return _by_frame(connection, reading, None if on is None else on.sample_id, item)
    if on is None or (on.sample_id is None and on.item_id is None):
        return None
    return Bond(on.sample_id, on.item_id, "tray", mode_conflict(connection, reading, item))


def bonds(connection: Connection, readings: Sequence[UntakenReading]) -> dict[int, Bond]:
    """Return what each reading belongs to, by reading id; readings that nothing speaks for are left out.

    Most readings of a busy line name no sample and stand on no tray: they cost one question a batch.
    """
    ever_set = instruments_ever_set(connection, {reading.instrument for reading in readings})
    candidates = [one for one in readings if one.sample or one.instrument in ever_set]
    return {one.reading_id: found for one in candidates if (found := bond(connection, one)) is not None}


def _by_frame(
    connection: Connection, reading: UntakenReading, set_sample: int | None, item: TrayItem | None
) -> Bond:
    assert reading.sample is not None  # noqa: S101 - the caller looked
    named = record_by_code(connection, "sample", reading.sample)
    if named is None:
        return Bond(None, None, "frame", SAMPLE_UNKNOWN)
    if set_sample is not None and set_sample != named.record_id:
        return Bond(named.record_id, None, "frame", TWO_SAMPLES)
    if item is None or set_sample is None:
        item = first_waiting(connection, reading.instrument, named.record_id)
    conflict = mode_conflict(connection, reading, item)
    return Bond(named.record_id, None if item is None else item.item_id, "frame", conflict)


def mode_conflict(connection: Connection, reading: UntakenReading, item: TrayItem | None) -> str | None:
    """Return a conflict if the instrument says a mode in which none of the tests asked is measured."""
    if item is None or reading.mode is None or not (tests := tests_of(item)):
        return None
    methods = [find(connection, Method, test).body for test in tests]
    fits = any(not method.modes or reading.mode in method.modes for method in methods)
    return None if fits else MODE_AGAINST_METHOD


def tie_row(ordinal: int, reading_id: int, found: Bond) -> TieRow:
    """Return the row that binds a reading."""
    return TieRow(ordinal, reading_id, found.sample_id, found.item_id, found.how, found.conflict)


def tie(
    tx: Transaction, actor: Actor, reading_ids: Sequence[int], sample: str, item: int | None = None
) -> None:
    """Bind readings to a sample by hand; what they were bound to before stays in their history."""
    named = find_usable(tx.connection, Sample, sample)
    _require_readings(tx, reading_ids)
    rows = [TieRow(ordinal, one, named.record_id, item, "hand") for ordinal, one in enumerate(reading_ids)]
    _enter(tx, actor, "reading.tied", rows)


def untie(tx: Transaction, actor: Actor, reading_ids: Sequence[int]) -> None:
    """Take readings off their sample; a reason is wanted."""
    _require_reason(actor)
    _require_readings(tx, reading_ids)
    rows = [TieRow(ordinal, one, None, None, "untie") for ordinal, one in enumerate(reading_ids)]
    _enter(tx, actor, "reading.untied", rows)


def reassign(tx: Transaction, actor: Actor, samples: Mapping[int, str]) -> None:
    """Give several readings other samples at once, such as when a tray was off by one; a reason is wanted.

    `samples` is the code of the right sample by reading id.
    """
    _require_reason(actor)
    _require_readings(tx, list(samples))
    rows = [
        TieRow(ordinal, reading_id, find_usable(tx.connection, Sample, code).record_id, None, "swap")
        for ordinal, (reading_id, code) in enumerate(samples.items())
    ]
    _enter(tx, actor, "readings.reassigned", rows)


def swap(tx: Transaction, actor: Actor, one: int, other: int) -> None:
    """Exchange what two readings are bound to; a reason is wanted."""
    _require_reason(actor)
    _require_readings(tx, (one, other))
    first, second = tie_of(tx.connection, one), tie_of(tx.connection, other)
    if first is None or second is None:
        raise MalformedError(
            "tie.nothing_to_swap", "both readings must be tied to swap what they are tied to"
        )
    rows = [
        TieRow(0, one, second.sample_id, second.item_id, "swap"),
        TieRow(1, other, first.sample_id, first.item_id, "swap"),
    ]
    _enter(tx, actor, "readings.reassigned", rows)


def _require_reason(actor: Actor) -> None:
    if not actor.reason:
        raise MalformedError(
            "act.reason_wanted", "say why: this act needs a reason", Fault("reason", "is empty")
        )


def _require_readings(tx: Transaction, reading_ids: Sequence[int]) -> None:
    if not reading_ids:
        raise MalformedError("tie.no_reading", "no reading is named", Fault("readings", "give at least one"))
    for reading_id in reading_ids:
        if not reading_versions(tx.connection, reading_id):
            raise NotThereError(
                "reading.unknown", f"there is no reading {reading_id}", Fault("readings", str(reading_id))
            )


def _enter(tx: Transaction, actor: Actor, action: str, rows: Sequence[TieRow]) -> None:
    tx.enter(
        action,
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"tie": rows},
    )

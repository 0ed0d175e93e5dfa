"""What files of other laboratories say: readings of an instrument that stands for one are theirs, never ours.

The record of the instrument names the laboratory. A name that nobody has explained waits, and is told.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import groupby
from typing import Final

from sqlalchemy import Connection

from bench.actor import Actor
from bench.due import DueItem
from bench.kinds.cellar import Alias
from bench.kinds.laboratory import Instrument
from bench.normalise import PLAIN_WORDS, normal
from bench.outside import MOST, whose_is
from bench.records import read
from storage.bench_rows import OutsideResultRow
from storage.queries.outside import OutsideResult, outside_results, unowned_names
from storage.queries.readings import UntakenReading
from storage.queries.records import records_by_codes, records_of_kind
from storage.rows import FaultRow
from storage.transaction import Transaction

US_A_SECOND: Final = 1_000_000
SOURCE: Final = "outside laboratory"
OUTCOMES: Final = ("value", "above_range", "below_range")
SHOWN_NAMES: Final = 5
"""Unknown names that are told by their words; the others are counted."""


def laboratories_of(connection: Connection, instruments: Collection[str]) -> dict[str, str]:
    """Return the laboratory that each of some instruments stands for; our own instruments are left out."""
    found = records_by_codes(connection, "instrument", instruments)
    named = {code: read(one, Instrument).body.outside_laboratory for code, one in found.items()}
    return {code: name for code, name in named.items() if name}


def take_theirs(
    tx: Transaction, actor: Actor, readings: Sequence[UntakenReading], laboratories: Mapping[str, str]
) -> None:
    """Enter readings of other laboratories under the names they used; the same number twice is one.

    What cannot be taken is told as a fault and stays readable as a reading.
    """
    rows: list[OutsideResultRow] = []
    for reading in readings:
        row = _row(tx.connection, actor, reading, laboratories[reading.instrument])
        if isinstance(row, FaultRow):
            _enter(tx, actor, "fault.found", fault=[row])
        elif not _is_known(tx.connection, row, rows):
            rows.append(row)
            _enter(tx, actor, "outside_result.entered", outside_result=[row])


def _row(
    connection: Connection, actor: Actor, reading: UntakenReading, laboratory: str
) -> OutsideResultRow | FaultRow:
    numeral, unit = None, reading.unit
    if reading.value_numeral is not None:
        found = normal(reading.quantity, "value", reading.value_numeral, reading.unit)
        if found.numeral is None or found.unit is None:
            why = PLAIN_WORDS.get(found.note or "", "cannot be taken")
            text = (
                f"{laboratory}, reading {reading.reading_id}: {reading.quantity} in {reading.unit!r}: {why}"
            )
            return FaultRow(None, None, SOURCE, text)
        numeral, unit = found.numeral, found.unit
    name = reading.sample or f"without a name, {reading.sequence or f'reading {reading.reading_id}'}"
    whose = whose_is(connection, laboratory, name)
    is_value = reading.outcome == "value" and numeral is not None
    return OutsideResultRow(
        laboratory,
        name,
        whose.lot_id,
        whose.sample_id,
        reading.reading_id,
        _measured_at(reading, actor.at_us),
        reading.quantity,
        reading.outcome if reading.outcome in OUTCOMES and numeral is not None else "no_value",
        numeral,
        float(numeral) if is_value and numeral is not None else None,
        unit,
        None,
        reading.sequence or "",
    )


def _measured_at(reading: UntakenReading, now_us: int) -> int:
    """Return when they measured it, by their own words if these are a day or a time not in the future."""
    try:
        said = datetime.fromisoformat(reading.instrument_time or "")
    except ValueError:
        return reading.at_us
    moment = said if said.tzinfo else said.replace(tzinfo=UTC)
    at_us = round(moment.timestamp() * US_A_SECOND)
    return at_us if at_us <= now_us else reading.at_us


def _is_known(connection: Connection, row: OutsideResultRow, beside: Sequence[OutsideResultRow]) -> bool:
    """Tell whether the same number was entered before, such as by a file that came twice."""
    before = outside_results(
        connection, source=row.source, alias=row.alias, quantity=row.quantity, limit=MOST
    )
    return any(_same(row, one) for one in before) or any(_same(row, one) for one in beside)


def _same(row: OutsideResultRow, other: OutsideResult | OutsideResultRow) -> bool:
    def of(one: OutsideResult | OutsideResultRow) -> tuple[object, ...]:
        return one.source, one.alias, one.quantity, one.at_us, one.method, one.outcome, one.value_numeral

    return of(row) == of(other)


def unexplained_items(connection: Connection) -> Iterator[DueItem]:
    """Yield each laboratory with names that nobody has explained: their numbers belong to no wine yet."""
    known = {
        (one.source, one.name)
        for version in records_of_kind(connection, "alias", retired=False, limit=MOST)
        for one in (read(version, Alias).body,)
    }
    waiting = [one for one in unowned_names(connection) if (one.source, one.alias) not in known]
    for laboratory, some in groupby(waiting, key=lambda one: one.source):
        of_one = list(some)
        shown = ", ".join(one.alias for one in of_one[:SHOWN_NAMES])
        more = f" and {len(of_one) - SHOWN_NAMES} more" if len(of_one) > SHOWN_NAMES else ""
        since_us = min(one.first_us for one in of_one)
        yield DueItem("outside.unknown", laboratory, since_us, f"{laboratory}: {shown}{more}")


def instruments_of_others(connection: Connection) -> set[str]:
    """Return the instruments that stand for other laboratories."""
    found = records_of_kind(connection, "instrument", retired=False, limit=MOST)
    return {one.code for one in found if read(one, Instrument).body.outside_laboratory}


def _enter(
    tx: Transaction, actor: Actor, action: str, **rows: Sequence[OutsideResultRow] | Sequence[FaultRow]
) -> None:
    tx.enter(
        action, at_us=actor.at_us, actor=actor.name, actor_kind=actor.kind, reason=actor.reason, rows=rows
    )

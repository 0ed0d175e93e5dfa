"""What is due of the things that numbers stand on: calibrations, verifications, checks, standardisations."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from sqlalchemy import Connection

from bench.control_records import IN_CONTROL, State, StateAt, state_at
from bench.due import DAY_US, HOUR_US, DueItem
from bench.kinds.laboratory import Method, Reagent
from bench.records import Record
from storage.queries.control_records import instruments_of_kind, latest_control_record

SOON_US: Final = 2 * HOUR_US
"""What runs out within it is due soon: long enough for a calibration and a check. Our choice. [µs]"""


def control_items(
    connection: Connection,
    methods: Sequence[Record[Method]],
    reagents: Sequence[Record[Reagent]],
    now_us: int,
) -> Iterator[DueItem]:
    """Yield what the methods in use want and do not have at a moment. [µs]"""
    for kind in ("calibration", "verification"):
        for instrument in sorted(_wanting(connection, methods, kind)):
            found = state_at(connection, kind, now_us, instrument=instrument)
            yield from _of_state(kind, instrument, found, now_us)
    by_code = {one.code: one for one in reagents}
    yield from _checks(connection, methods, by_code, now_us)
    named = {one.body.titrant for one in methods if one.body.titrant}
    for code in sorted(named & by_code.keys()):
        yield from _standardisation(connection, by_code[code], now_us)


def _wanting(connection: Connection, methods: Sequence[Record[Method]], kind: str) -> set[str]:
    """Return the instruments of methods that want a kind; one for any speaks for all that had it."""
    wanting: set[str] = set()
    for one in methods:
        needs = one.body.needs_calibration if kind == "calibration" else one.body.needs_verification
        if needs:
            wanting |= set(one.body.instruments or instruments_of_kind(connection, "calibration"))
    return wanting


def _of_state(kind: str, instrument: str, found: StateAt, now_us: int) -> Iterator[DueItem]:
    record = found.record
    if record is None:
        yield DueItem(f"{kind}.due", instrument, 0, f"{instrument} has no {kind} on record")
    elif found.state is State.FAILED:
        yield DueItem(
            f"{kind}.failed",
            instrument,
            record.at_us,
            f"{kind} {record.number} of {instrument}",
            str(record.number),
        )
    elif record.valid_until_us is not None:
        left_us = record.valid_until_us - now_us
        if left_us < 0:
            yield DueItem(
                f"{kind}.due",
                instrument,
                record.valid_until_us,
                f"{kind} {record.number} of {instrument} ran out {in_words(-left_us)} ago",
            )
        elif left_us <= SOON_US and kind == "calibration":
            yield DueItem(
                "calibration.soon",
                instrument,
                record.valid_until_us,
                f"calibration {record.number} of {instrument} runs out in {in_words(left_us)}",
            )


def _checks(
    connection: Connection,
    methods: Sequence[Record[Method]],
    by_code: dict[str, Record[Reagent]],
    now_us: int,
) -> Iterator[DueItem]:
    """Yield each material that covers an instrument no longer, or not for long, by the strictest method."""
    covers_h: dict[tuple[str, str], float | None] = {}
    for one in methods:
        for material in one.body.checks:
            for instrument in one.body.instruments or instruments_of_kind(connection, "check"):
                scope = (material, instrument)
                hours = [h for h in (covers_h.get(scope), one.body.check_every_h) if h is not None]
                covers_h[scope] = min(hours, default=None)
    for (code, where), every_h in sorted(covers_h.items()):
        if code in by_code:
            yield from _check(connection, by_code[code], where, every_h, now_us)


def _check(
    connection: Connection, material: Record[Reagent], instrument: str, every_h: float | None, now_us: int
) -> Iterator[DueItem]:
    subject = f"{material.code} at {instrument}"
    passed = latest_control_record(
        connection,
        "check",
        now_us,
        instrument=instrument,
        subject_id=material.record_id,
        verdicts=tuple(verdict.value for verdict in IN_CONTROL),
    )
    if passed is None:
        yield DueItem("check.due", subject, 0, f"{subject} has never passed")
    elif every_h is not None:
        until_us = passed.at_us + round(every_h * HOUR_US)
        if until_us < now_us:
            evidence = f"{subject} passed {in_words(now_us - passed.at_us)} ago, it covers {every_h:g} h"
            yield DueItem("check.due", subject, until_us, evidence)
        elif until_us - now_us <= SOON_US:
            yield DueItem(
                "check.soon", subject, until_us, f"{subject} covers {in_words(until_us - now_us)} more"
            )


def _standardisation(connection: Connection, titrant: Record[Reagent], now_us: int) -> Iterator[DueItem]:
    found = state_at(connection, "standardisation", now_us, subject_id=titrant.record_id)
    record, code = found.record, titrant.code
    if record is None:
        yield DueItem("standardisation.due", code, 0, f"{code} was never standardised")
        return
    if found.state is State.FAILED:
        evidence = f"standardisation {record.number} of {code}"
        yield DueItem("standardisation.failed", code, record.at_us, evidence, str(record.number))
        return
    every = titrant.body.standardise_every_days
    ends = [record.valid_until_us] if record.valid_until_us is not None else []
    ends += [] if every is None else [record.at_us + round(every * DAY_US)]
    if ends and min(ends) < now_us:
        evidence = f"{code} was standardised {in_words(now_us - record.at_us)} ago"
        yield DueItem("standardisation.due", code, min(ends), evidence)


def in_words(span_us: int) -> str:
    """Return a span of time as people say it. [µs]"""
    for length_us, unit in ((DAY_US, "d"), (HOUR_US, "h")):
        if span_us >= 2 * length_us:
            return f"{span_us // length_us} {unit}"
    return f"{max(0, span_us) // 60_000_000} min"


def in_use(methods: Iterable[Record[Method]]) -> set[str]:
    """Return the codes of the reagents that methods name in any role."""
    found: set[str] = set()
    for one in methods:
        found |= {*one.body.reagents, *one.body.checks}
        if one.body.titrant:
            found.add(one.body.titrant)
    return found

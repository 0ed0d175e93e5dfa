"""Calibrations, checks and their like, as they were judged."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from sqlalchemy import Connection, Select, bindparam, select

from storage.schema import control_input, control_record


@dataclass(frozen=True, slots=True)
class ControlRecord:
    """One judged record."""

    number: int
    kind: str
    instrument: str | None
    subject_id: int | None
    method_id: int | None
    method_version: int | None
    at_us: int
    quantity: str
    value_numeral: str | None
    value: float | None
    unit: str
    uncertainty: float | None
    verdict: str
    reasons: str
    """JSON list of words."""
    details: str
    """Canonical JSON."""
    hand: bool
    valid_until_us: int | None
    limit_set_id: int | None
    limit_set_version: int | None
    software_version: str


@dataclass(frozen=True, slots=True)
class Source:
    """What something was made from."""

    role: str
    source: str
    source_id: int
    source_version: int | None


_COLUMNS: Final = [
    column for column in control_record.columns if column.name in ControlRecord.__dataclass_fields__
]


def _records(*conditions: Any) -> Select[Any]:
    return select(*_COLUMNS).where(*conditions)


def _as_record(row: Any) -> ControlRecord:
    fields = row._asdict()
    return ControlRecord(**{**fields, "hand": bool(fields["hand"])})


def control_record_by_number(connection: Connection, number: int) -> ControlRecord | None:
    """Return one record."""
    row = connection.execute(_records(control_record.c.number == number)).one_or_none()
    return None if row is None else _as_record(row)


def latest_control_record(
    connection: Connection,
    kind: str,
    at_us: int,
    *,
    instrument: str | None = None,
    subject_id: int | None = None,
    method_id: int | None = None,
    verdicts: tuple[str, ...] | None = None,
) -> ControlRecord | None:
    """Return the newest record of a kind made at a moment or before, of a scope if it is named. [µs]"""
    scope = {"instrument": instrument, "subject_id": subject_id, "method_id": method_id, "verdicts": verdicts}
    named = {name: value for name, value in scope.items() if value is not None}
    row = connection.execute(_latest(*named), {"kind": kind, "at_us": at_us, **named}).one_or_none()
    return None if row is None else _as_record(row)


_SCOPE: Final = {
    "instrument": control_record.c.instrument == bindparam("instrument"),
    "subject_id": control_record.c.subject_id == bindparam("subject_id"),
    "method_id": control_record.c.method_id == bindparam("method_id"),
    "verdicts": control_record.c.verdict.in_(bindparam("verdicts", expanding=True)),
}


@cache
def _latest(*names: str) -> Select[Any]:
    """Select the newest record of a kind up to a moment, in a scope of which some things are named."""
    query = _records(
        control_record.c.kind == bindparam("kind"),
        control_record.c.at_us <= bindparam("at_us"),
        *(_SCOPE[name] for name in names),
    )
    return query.order_by(control_record.c.at_us.desc(), control_record.c.number.desc()).limit(1)


def next_control_record(
    connection: Connection, kind: str, at_us: int, *, instrument: str | None, subject_id: int
) -> ControlRecord | None:
    """Return the first record of a kind that was judged of a later moment, of one scope. [µs]"""
    query = _records(
        control_record.c.kind == kind,
        control_record.c.subject_id == subject_id,
        control_record.c.at_us > at_us,
        control_record.c.verdict != "not_evaluated",
    )
    if instrument is not None:
        query = query.where(control_record.c.instrument == instrument)
    row = connection.execute(query.order_by(control_record.c.at_us, control_record.c.number).limit(1))
    found = row.one_or_none()
    return None if found is None else _as_record(found)


def instruments_of_kind(connection: Connection, kind: str) -> list[str]:
    """Return the instruments that ever had a record of a kind."""
    query = select(control_record.c.instrument).where(
        control_record.c.kind == kind, control_record.c.instrument.is_not(None)
    )
    return [
        str(name)
        for name in connection.execute(query.distinct().order_by(control_record.c.instrument)).scalars()
    ]


def control_records(
    connection: Connection,
    *,
    kind: str | None = None,
    instrument: str | None = None,
    subject_id: int | None = None,
    method_id: int | None = None,
    after: int = 0,
    from_us: int | None = None,
    to_us: int | None = None,
    limit: int = 1000,
) -> list[ControlRecord]:
    """Return records in the order in which they were entered. `to_us` is exclusive. [µs]"""
    query = _records(control_record.c.number > after)
    for column, wanted in (
        (control_record.c.kind, kind),
        (control_record.c.instrument, instrument),
        (control_record.c.subject_id, subject_id),
        (control_record.c.method_id, method_id),
    ):
        if wanted is not None:
            query = query.where(column == wanted)
    if from_us is not None:
        query = query.where(control_record.c.at_us >= from_us)
    if to_us is not None:
        query = query.where(control_record.c.at_us < to_us)
    rows = connection.execute(query.order_by(control_record.c.number).limit(limit))
    return [_as_record(row) for row in rows]


def made_from_readings(connection: Connection, reading_ids: Sequence[int]) -> set[int]:
    """Return those of the readings that control records were made from."""
    query = select(control_input.c.source_id).where(
        control_input.c.source == "reading", control_input.c.source_id.in_(reading_ids)
    )
    return set(connection.execute(query).scalars())


def sources_of_control_record(connection: Connection, number: int) -> list[Source]:
    """Return what a record was made from."""
    query = (
        select(
            control_input.c.role,
            control_input.c.source,
            control_input.c.source_id,
            control_input.c.source_version,
        )
        .where(control_input.c.number == number)
        .order_by(control_input.c.ordinal)
    )
    return [Source(*row) for row in connection.execute(query)]

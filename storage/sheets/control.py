"""Calibrations and their like, and checks: one row a record as it was judged when it came."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Select, func, literal, select

from storage.csv_text.dialects import Column, Kind, Reader
from storage.csv_text.reason_words import reason_words
from storage.csv_text.sheet import Sheet, sheet_of
from storage.schema import control_record, record

CALIBRATIONS: Final = (
    "calibration",
    "verification",
    "standardisation",
    "blank",
    "pump_factor",
    "mass_check",
)
CHECKS: Final = ("check",)


@dataclass(frozen=True, slots=True)
class ControlSheetFilter:
    """Which judged records are wanted; None asks for all."""

    kinds: Collection[str]
    instrument: str | None = None
    quantity: str | None = None
    method: str | None = None
    subject: str | None = None
    """Code of the titrant, buffer, standard or control material."""
    verdict: str | None = None
    from_us: int | None = None
    to_us: int | None = None
    """Exclusive. [µs]"""
    since: int = 0
    up_to: int = 2**63 - 1


def _code_of(record_id: Any) -> Any:
    named = record.alias()
    query = select(named.c.code).where(named.c.record_id == record_id, named.c.version == 1).limit(1)
    return query.correlate(control_record).scalar_subquery()


_subject: Final = _code_of(control_record.c.subject_id)
_method: Final = _code_of(control_record.c.method_id)


def control_columns(store_kind: str) -> tuple[Column, ...]:
    """Return the columns of the sheets of judged records; new ones are only ever added at the end."""
    return (
        Column("revision", Kind.INTEGER, control_record.c.number),
        Column("kind", Kind.TEXT, control_record.c.kind),
        Column("measured_at_utc", Kind.MOMENT, control_record.c.at_us),
        Column("instrument", Kind.TEXT, control_record.c.instrument),
        Column("subject", Kind.TEXT, _subject),
        Column("method", Kind.TEXT, _method),
        Column("quantity", Kind.TEXT, control_record.c.quantity),
        Column("value", Kind.NUMERAL, control_record.c.value_numeral),
        Column("unit", Kind.TEXT, control_record.c.unit),
        Column("verdict", Kind.TEXT, control_record.c.verdict),
        Column("reasons", Kind.TEXT, reason_words(control_record.c.reasons)),
        Column("valid_until_utc", Kind.MOMENT, control_record.c.valid_until_us),
        Column("typed", Kind.INTEGER, control_record.c.hand),
        Column("limit_set", Kind.TEXT, _code_of(control_record.c.limit_set_id)),
        Column("limit_set_version", Kind.INTEGER, control_record.c.limit_set_version),
        Column("store", Kind.TEXT, literal(store_kind)),
    )


def control_sheet(reader: Reader, wanted: ControlSheetFilter, *, store_kind: str) -> Sheet:
    """Return the sheet of judged records of some kinds."""

    def count(connection: Connection, limit: int) -> int:
        some = _rows(wanted, wanted.since).add_columns(control_record.c.number).limit(limit).subquery()
        return connection.execute(select(func.count()).select_from(some)).scalar_one()

    return sheet_of(
        reader,
        control_columns(store_kind),
        lambda place: _rows(wanted, place),
        begin=wanted.since,
        count=count,
    )


def _rows(wanted: ControlSheetFilter, after: Any) -> Select[Any]:
    query = (
        select()
        .select_from(control_record)
        .where(control_record.c.number > after, control_record.c.number <= wanted.up_to)
        .where(control_record.c.kind.in_(list(wanted.kinds)))
        .order_by(control_record.c.number)
    )
    for source, value in (
        (control_record.c.instrument, wanted.instrument),
        (control_record.c.quantity, wanted.quantity),
        (_method, wanted.method),
        (_subject, wanted.subject),
        (control_record.c.verdict, wanted.verdict),
    ):
        if value is not None:
            query = query.where(source == value)
    if wanted.from_us is not None:
        query = query.where(control_record.c.at_us >= wanted.from_us)
    return query if wanted.to_us is None else query.where(control_record.c.at_us < wanted.to_us)


def control_revision(connection: Connection) -> int:
    """Return the ledger number of what last changed what these sheets show."""
    newest = (connection.execute(select(func.max(t.c.number))).scalar() for t in (control_record, record))
    return max(number or 0 for number in newest)

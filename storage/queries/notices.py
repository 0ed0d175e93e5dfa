"""What instruments said beside readings: the points of their curves, and their reports."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

from sqlalchemy import Connection, Select, Table, bindparam, exists, or_, select

from storage.schema import capture, curve_point, report


@dataclass(frozen=True, slots=True)
class NoticeFilter:
    """Which points or reports are wanted; None asks for all."""

    instrument: str | None = None
    line: str | None = None
    capture_number: int | None = None
    sample: str | None = None
    """Of points only: exactly this id."""
    kind: str | None = None
    """Of reports only."""


@dataclass(frozen=True, slots=True)
class SignalRecord:
    """What an electrode showed at a point."""

    quantity: str
    unit: str
    numeral: str | None
    value: float | None
    text: str | None
    outcome: str | None
    """As of a reading; None where only the number was kept."""


@dataclass(frozen=True, slots=True)
class PointRecord:
    """One point of a curve with all its signals."""

    number: int
    capture_number: int
    frame_number: int
    frame_ordinal: int
    line: str
    instrument: str
    at_us: int
    volume_numeral: str | None
    volume_ml: float | None
    temperature_c: float | None
    elapsed_s: float | None
    mode: str | None
    sample: str | None
    sequence: str | None
    instrument_time: str | None
    signals: tuple[SignalRecord, ...]


@dataclass(frozen=True, slots=True)
class ReportRecord:
    """What an instrument said of itself or of a run."""

    number: int
    ordinal: int
    capture_number: int
    frame_number: int
    frame_ordinal: int
    line: str
    instrument: str
    at_us: int
    kind: str
    body: str
    """JSON."""


_ANYTHING_AFTER: Final = select(
    or_(
        exists().where(curve_point.c.number > bindparam("after")),
        exists().where(report.c.number > bindparam("after")),
    )
)


def anything_after(connection: Connection, after: int) -> bool:
    """Tell whether any point or report follows a ledger number: of most moments none does."""
    return bool(connection.execute(_ANYTHING_AFTER, {"after": after}).scalar())


def points_after(
    connection: Connection, wanted: NoticeFilter, *, after: int, limit: int
) -> list[PointRecord]:
    """Return points of curves that follow a ledger number, oldest first, each with all its signals."""
    numbers = (
        select(curve_point.c.number)
        .join(capture, capture.c.number == curve_point.c.capture_number)
        .where(curve_point.c.number > after, *_conditions(curve_point, wanted))
        .distinct()
        .order_by(curve_point.c.number)
        .limit(limit)
        .subquery()
    )
    statement = (
        select(curve_point, capture.c.line)
        .join(capture, capture.c.number == curve_point.c.capture_number)
        .where(curve_point.c.number.in_(select(numbers.c.number)))
        .order_by(curve_point.c.number, curve_point.c.ordinal)
    )
    rows = connection.execute(statement)
    return [_point(list(group)) for _, group in groupby(rows, key=lambda row: row.number)]


_SELECT_REPORTS: Final[Select[Any]] = select(
    report.c.number,
    report.c.ordinal,
    report.c.capture_number,
    report.c.frame_number,
    report.c.frame_ordinal,
    capture.c.line,
    report.c.instrument,
    report.c.at_us,
    report.c.kind,
    report.c.body,
).join(capture, capture.c.number == report.c.capture_number)


def reports_after(
    connection: Connection, wanted: NoticeFilter, *, after: int, limit: int
) -> list[ReportRecord]:
    """Return reports that follow a ledger number, oldest first."""
    conditions = _conditions(report, wanted)
    if wanted.kind is not None:
        conditions.append(report.c.kind == wanted.kind)
    statement = (
        _SELECT_REPORTS.where(report.c.number > after, *conditions)
        .order_by(report.c.number, report.c.ordinal)
        .limit(limit)
    )
    return [ReportRecord(*row) for row in connection.execute(statement)]


def _conditions(table: Table, wanted: NoticeFilter) -> list[Any]:
    pairs: Iterable[tuple[Any, object]] = (
        (table.c.instrument, wanted.instrument),
        (capture.c.line, wanted.line),
        (table.c.capture_number, wanted.capture_number),
    )
    if wanted.sample is not None:
        pairs = (*pairs, (table.c.sample, wanted.sample))
    return [column == value for column, value in pairs if value is not None]


def _point(rows: Sequence[Any]) -> PointRecord:
    first = rows[0]
    return PointRecord(
        first.number,
        first.capture_number,
        first.frame_number,
        first.frame_ordinal,
        first.line,
        first.instrument,
        first.at_us,
        first.volume_numeral,
        first.volume_ml,
        first.temperature_c,
        first.elapsed_s,
        first.mode,
        first.sample,
        first.sequence,
        first.instrument_time,
        tuple(_signal(row) for row in rows if row.signal_quantity),
    )


def _signal(row: Any) -> SignalRecord:
    return SignalRecord(
        row.signal_quantity,
        row.signal_unit,
        row.signal_numeral,
        row.signal,
        row.signal_text,
        row.signal_outcome,
    )

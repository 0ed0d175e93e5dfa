"""What an instrument says beside readings, as rows: the points of its curves, and its reports.

Numbers of a point are kept in the units of the table with all their digits, and as a double for search. What
is no measured number (out of range, not stable, an error) has neither.
"""

from collections.abc import Sequence
from decimal import Decimal
from math import isfinite
from typing import Final, NamedTuple

from acquire.events import NOTICE_KINDS, CurvePoint, Notice, Outcome, Reading
from acquire.pour import notice_as_json
from bench.canonical_json import to_text
from evaluate.units import UnitError, convert
from storage.bench_rows import CurvePointRow, ReportRow
from storage.rows import Row

VOLUME_UNIT: Final = "mL"
TEMPERATURE_UNIT: Final = "°C"
DURATION_UNIT: Final = "s"


class Origin(NamedTuple):
    """Where a notice was heard."""

    capture_number: int
    frame_number: int
    frame_ordinal: int
    instrument: str
    at_us: int
    """When its frame was complete. [µs since 1970 UTC]"""


class NoticeRows(NamedTuple):
    """The rows of one notice, and the action under which the ledger enters them."""

    action: str
    table: str
    rows: Sequence[Row]


def notice_rows(origin: Origin, notice: Notice) -> NoticeRows:
    """Return the rows of a notice: one a signal of a curve point, one a report."""
    if isinstance(notice, CurvePoint):
        return NoticeRows("curve_point.stored", "curve_point", _point_rows(origin, notice))
    told = notice_as_json(notice)
    row = ReportRow(0, *origin, NOTICE_KINDS[type(notice)], to_text(_without_kind(told)))
    return NoticeRows("report.stored", "report", [row])


def _without_kind(told: dict[str, object]) -> dict[str, object]:
    return {key: value for key, value in told.items() if key != "kind"}


def _point_rows(origin: Origin, point: CurvePoint) -> list[CurvePointRow]:
    volume = _measured(point.volume, VOLUME_UNIT)
    signals = point.signals or (None,)
    return [_point_row(origin, point, volume, *one) for one in enumerate(signals)]


def _point_row(
    origin: Origin, point: CurvePoint, volume: Decimal | None, ordinal: int, signal: Reading | None
) -> CurvePointRow:
    value = _measured(signal)
    return CurvePointRow(
        ordinal,
        *origin,
        _numeral(volume),
        _double(volume),
        _numeral(value),
        _double(value),
        signal.quantity if signal else "",
        signal.unit if signal else "",
        _double(_measured(point.temperature, TEMPERATURE_UNIT)),
        _double(_measured(point.elapsed, DURATION_UNIT)),
        point.mode,
        point.sample,
        point.sequence,
        point.instrument_time,
        signal.text if signal else None,
        signal.outcome.value if signal else None,
    )


def _measured(reading: Reading | None, unit: str | None = None) -> Decimal | None:
    """Return the number of a reading in a unit; None if none was measured, or not in such a unit."""
    if reading is None or reading.outcome is not Outcome.VALUE or reading.value is None:
        return None
    try:
        value = reading.value if unit is None else convert(reading.value, reading.unit, unit)
    except UnitError:
        return None
    return value if isfinite(float(value)) else None  # a number past every double is none


def _numeral(value: Decimal | None) -> str | None:
    return None if value is None else f"{value:f}"


def _double(value: Decimal | None) -> float | None:
    return None if value is None else float(value)

"""Bodies of what instruments said beside readings: points of curves, and reports."""

from typing import Any, Literal

from pydantic import Field

from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.schemas.readings import OutcomeCode
from api.times import rfc3339
from storage.queries import PointRecord, ReportRecord, SignalRecord

ReportKind = Literal["calibration_report", "run_started", "run_ended", "status", "identity"]


class SignalBody(Body):
    """What an electrode showed at a point of a curve."""

    quantity: str = Field(description="Code of the quantity.", examples=["potential"])
    outcome: OutcomeCode | None = Field(description="What kind of answer it is; only `value` is a number.")
    value: float | None = Field(description="The number in `unit`; null unless the outcome is `value`.")
    value_text: str | None = Field(description="What the instrument sent.", examples=["212.4"])
    unit: str = Field(examples=["mV"])


class CurvePointBody(Body):
    """One point of a curve that was being measured; its numbers are no readings of a sample."""

    ledger_number: LedgerNumber = Field(description="The entry that brought it; names the point.")
    at: UtcTime = Field(description="When its last byte was heard, by the host's clock.")
    line: str
    instrument: str
    capture_id: LedgerNumber = Field(description="The capture that holds its bytes.")
    volume_ml: float | None = Field(description="Titrant dispensed so far; null if it was not sent. [mL]")
    volume_text: str | None = Field(description="The same in mL with all its digits.", examples=["3.40"])
    temperature_c: float | None = Field(description="[°C]")
    elapsed_s: float | None = Field(description="Since the run began, by the instrument. [s]")
    signals: list[SignalBody]
    sample: str | None = Field(description="The sample id that the instrument sent.")
    sequence: str | None = Field(description="The instrument's own number of the run or message.")
    instrument_time: str | None = Field(description="The instrument's own time, without an offset.")
    mode: str | None = Field(description="What the instrument says it was doing.")


class CurvePointsPage(Page[CurvePointBody]):
    """A page of points, oldest first."""


class ReportBody(Body):
    """What an instrument said of itself or of a run; kept as a claim, not used as a fact."""

    ledger_number: LedgerNumber = Field(description="The entry that brought it.")
    at: UtcTime = Field(description="When its last byte was heard, by the host's clock.")
    line: str
    instrument: str
    capture_id: LedgerNumber = Field(description="The capture that holds its bytes.")
    kind: ReportKind
    body: dict[str, Any] = Field(
        description="What it said, by kind; numbers as text, with every digit.",
        examples=[{"code": "E12", "words": "burette empty", "outcome": "instrument_error", "sample": None}],
    )


class ReportsPage(Page[ReportBody]):
    """A page of reports, oldest first."""


def point_body(record: PointRecord) -> CurvePointBody:
    """Return the body of a point of a curve."""
    return CurvePointBody(
        ledger_number=record.number,
        at=rfc3339(record.at_us),
        line=record.line,
        instrument=record.instrument,
        capture_id=record.capture_number,
        volume_ml=record.volume_ml,
        volume_text=record.volume_numeral,
        temperature_c=record.temperature_c,
        elapsed_s=record.elapsed_s,
        signals=[_signal_body(signal) for signal in record.signals],
        sample=record.sample,
        sequence=record.sequence,
        instrument_time=record.instrument_time,
        mode=record.mode,
    )


def _signal_body(signal: SignalRecord) -> SignalBody:
    return SignalBody(
        quantity=signal.quantity,
        outcome=signal.outcome,  # type: ignore[arg-type] # checked by pydantic against the known outcomes
        value=signal.value,
        value_text=signal.text,
        unit=signal.unit,
    )


def report_body(record: ReportRecord, body: dict[str, Any]) -> ReportBody:
    """Return the body of a report, with what it said."""
    return ReportBody(
        ledger_number=record.number,
        at=rfc3339(record.at_us),
        line=record.line,
        instrument=record.instrument,
        capture_id=record.capture_number,
        kind=record.kind,  # type: ignore[arg-type] # checked by pydantic against the known kinds
        body=body,
    )

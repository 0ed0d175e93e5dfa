"""Bodies of pours: stored captures through another driver."""

from typing import Any, Literal, Self

from pydantic import Field, model_validator

from api.parameters import LARGEST, Moment
from api.pours import PourReport, WantedDriver
from api.schemas.acts import Reason
from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.times import rfc3339
from bench.canonical_json import from_text
from bench.poured import Change, PouredReading
from bench.repour import Poured
from storage.queries import PourRecord, PourScope, StandingReading

MOST_DEFINITION = 256 << 10  # [characters]


class PourWanted(Body):
    """Which captures are to be poured, and through which driver."""

    driver: str | None = Field(
        None, max_length=200, description="Name of a shipped or installed driver.", examples=["so2-burette"]
    )
    options: dict[str, Any] | None = Field(None, description="Options of a driver that takes some.")
    definition: str | None = Field(
        None, max_length=MOST_DEFINITION, description="The text of a driver file, in place of a name."
    )
    driver_id: int | None = Field(
        None,
        ge=1,
        le=LARGEST,
        description="Ledger number of a driver that was used before.",
    )
    take_refused: bool = Field(
        default=False,
        description="Take what was refused as `unrecognised`: it was the right instrument after all.",
    )
    line: str | None = Field(None, max_length=200, description="Only captures of this line.")
    capture_id: int | None = Field(None, ge=1, le=LARGEST, description="Only this capture.")
    begin: Moment | None = Field(None, alias="from", description="Only captures open at this time or later.")
    end: Moment | None = Field(None, alias="to", description="Only captures opened before this time.")
    reason: str | None = Reason

    @model_validator(mode="after")
    def _one_driver_and_some_scope(self) -> Self:
        given = [one for one in (self.driver, self.definition, self.driver_id) if one is not None]
        if len(given) != 1:
            raise ValueError("name the driver once: by driver, by definition or by driver_id")
        if self.line is None and self.capture_id is None:
            raise ValueError("say which captures: those of a line, or one by capture_id")
        return self

    def wanted_driver(self) -> WantedDriver:
        """Return the driver."""
        return WantedDriver(
            self.driver, self.options, self.definition, self.driver_id, takes_refused=self.take_refused
        )

    def scope(self) -> PourScope:
        """Return which captures."""
        return PourScope(self.line, self.capture_id, from_us=self.begin, to_us=self.end)


class PouredCaptureBody(Body):
    """What differs in one capture."""

    capture_id: LedgerNumber
    line: str
    changed: int = Field(ge=0, description="Readings that the driver reads otherwise.")
    added: int = Field(ge=0, description="Readings where there were none.")
    withdrawn: int = Field(ge=0, description="Readings that no frame holds any more.")
    reshaped: bool = Field(description="Whether the bytes are cut into other frames.")
    must_wait: bool = Field(
        description="True if nothing is entered while the line is open: stop it first, or load the driver."
    )


class PouredReadingBody(Body):
    """One side of a change."""

    quantity: str
    outcome: str
    value_text: str
    value: float | None
    unit: str
    sample: str | None


class PourChangeBody(Body):
    """One reading that differs."""

    capture_id: LedgerNumber
    frame_offset: int = Field(ge=0, description="Of the first byte of its frame. [bytes]")
    kind: Literal["changed", "added", "withdrawn"]
    reading_id: LedgerNumber | None
    before: PouredReadingBody | None
    after: PouredReadingBody | None


class PourReportBody(Body):
    """What a pour would change, or has changed."""

    ledger_number: LedgerNumber | None = Field(description="Of the pour; null if nothing was entered.")
    driver: str
    driver_version: str
    looked_at: int = Field(ge=0, description="How many captures were poured.")
    complete: bool = Field(description="False if there was no time for all; choose fewer captures then.")
    captures: list[PouredCaptureBody] = Field(description="Those in which something differs.")
    changes: list[PourChangeBody] = Field(description="The first hundred changes.")


class PourBody(Body):
    """A pour that changed something."""

    ledger_number: LedgerNumber
    at: UtcTime
    actor: str
    reason: str | None
    driver: str
    driver_version: str
    driver_id: LedgerNumber
    scope: dict[str, Any] = Field(description="Which captures were asked for.")
    captures: int = Field(ge=0, description="How many it came to the end of.")
    changed: int = Field(ge=0)
    added: int = Field(ge=0)
    withdrawn: int = Field(ge=0)


class PoursPage(Page[PourBody]):
    """A page of pours, newest first."""


def report_body(report: PourReport) -> PourReportBody:
    """Return the body of a report."""
    return PourReportBody(
        ledger_number=report.number,
        driver=report.driver,
        driver_version=report.driver_version,
        looked_at=report.looked_at,
        complete=report.is_complete,
        captures=[_capture_body(one) for one in report.captures],
        changes=[_change_body(capture_id, change) for capture_id, change in report.examples],
    )


def _capture_body(one: Poured) -> PouredCaptureBody:
    return PouredCaptureBody(
        capture_id=one.capture.number,
        line=one.capture.line,
        changed=one.changed,
        added=one.added,
        withdrawn=one.withdrawn,
        reshaped=one.reshaped,
        must_wait=one.must_wait,
    )


def _change_body(capture_id: int, change: Change) -> PourChangeBody:
    return PourChangeBody(
        capture_id=capture_id,
        frame_offset=change.frame_offset,
        kind=change.kind.value,
        reading_id=change.before.reading_id if change.before else None,
        before=_side(change.before),
        after=_side(change.after),
    )


def _side(one: StandingReading | PouredReading | None) -> PouredReadingBody | None:
    if one is None:
        return None
    return PouredReadingBody(
        quantity=one.quantity,
        outcome=one.outcome,
        value_text=one.value_text,
        value=one.value if one.outcome == "value" else None,
        unit=one.unit,
        sample=one.sample,
    )


def pour_body(record: PourRecord) -> PourBody:
    """Return the body of a pour."""
    return PourBody(
        ledger_number=record.number,
        at=rfc3339(record.at_us),
        actor=record.actor,
        reason=record.reason,
        driver=record.driver,
        driver_version=record.driver_version,
        driver_id=record.driver_number,
        scope=from_text(record.scope),
        captures=record.captures,
        changed=record.changed,
        added=record.added,
        withdrawn=record.withdrawn,
    )

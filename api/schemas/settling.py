"""Bodies of streams of readings and of what came to rest in them."""

from typing import Any, Literal

from pydantic import Field

from api.schemas.acts import ActBody
from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.times import rfc3339
from bench.canonical_json import from_text
from bench.kinds.laboratory import Settling
from bench.settle import Stretch
from storage.queries.settling import SettledRecord

VerdictCode = Literal["stable", "waiting", "timed_out", "no_rule"]


class SettledBody(Body):
    """A reading that was made the one of record."""

    ledger_number: LedgerNumber
    instrument: str
    quantity: str
    reading_id: LedgerNumber = Field(description="The reading of record: the last of its stretch.")
    at: UtcTime = Field(description="When it was heard.")
    how: Literal["rule", "person"] = Field(description="By the rule, or because somebody took it.")
    verdict: VerdictCode = Field(description="`stable` if it had come to rest; else its result says so.")
    rule: dict[str, Any] | None = Field(description="What counted as settled; null where there is no rule.")
    first_reading_id: LedgerNumber = Field(description="The first reading of the stretch.")
    readings: int = Field(ge=1, description="How many readings the stretch holds.")
    span: float | None = Field(description="Greatest less least value in it. [unit of the quantity]")
    drift_per_s: float | None = Field(description="Its slope. [unit of the quantity per s]")
    waited_s: float | None = Field(description="Since something was set on, or the value moved on. [s]")


class SettledPage(Page[SettledBody]):
    """A page of readings of record, oldest first."""


class StreamBody(Body):
    """What a stream shows now."""

    instrument: str
    quantity: str
    reading_id: LedgerNumber = Field(description="The newest reading.")
    at: UtcTime = Field(description="When it was heard.")
    value_text: str = Field(description="As the instrument sent it.")
    unit: str
    verdict: VerdictCode
    rule: dict[str, Any] | None
    readings: int = Field(ge=1, description="How many readings the window holds.")
    span: float | None = Field(description="[unit of the quantity]")
    drift_per_s: float | None = Field(description="[unit of the quantity per s]")
    waited_s: float | None = Field(description="[s]")


class TapBody(ActBody):
    """What is to be taken."""

    quantity: str = Field(max_length=200, examples=["ph"])


def settled_body(record: SettledRecord) -> SettledBody:
    """Return the body of a reading of record."""
    return SettledBody(
        ledger_number=record.number,
        instrument=record.instrument,
        quantity=record.quantity,
        reading_id=record.reading_id,
        at=rfc3339(record.at_us),
        how=record.how,  # type: ignore[arg-type] # checked by pydantic against the known words
        verdict=record.verdict,  # type: ignore[arg-type] # checked by pydantic against the known words
        rule=None if record.rule is None else from_text(record.rule),
        first_reading_id=record.first_reading_id,
        readings=record.readings,
        span=record.span,
        drift_per_s=record.drift_per_s,
        waited_s=record.waited_s,
    )


def stream_body(rule: Settling | None, stretch: Stretch) -> StreamBody:
    """Return the body of what a stream shows."""
    row = stretch.figures(rule)
    return StreamBody(
        instrument=stretch.reading.instrument,
        quantity=stretch.reading.quantity,
        reading_id=stretch.reading.reading_id,
        at=rfc3339(stretch.reading.at_us),
        value_text=stretch.reading.value_text,
        unit=stretch.reading.unit,
        verdict=row.verdict,  # type: ignore[arg-type] # checked by pydantic against the known words
        rule=None if rule is None else rule.model_dump(),
        readings=stretch.readings,
        span=row.span,
        drift_per_s=row.drift_per_s,
        waited_s=row.waited_s,
    )

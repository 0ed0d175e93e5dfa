"""Bodies of what was noted of the host's clock."""

from pydantic import Field

from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.times import rfc3339
from storage.queries import ClockEventRecord


class ClockEventBody(Body):
    """The host's clock was judged anew, or was put forward or back."""

    ledger_number: LedgerNumber
    at: UtcTime = Field(description="By the clock after it.")
    event: str = Field(description="judged or stepped.", examples=["stepped"])
    quality: str = Field(description="in_step, not_in_step or unknown, from then on.")
    why: str = Field(description="In plain words.")
    max_error_s: float | None = Field(
        description="How far the clock could be off; null where nobody says. [s]"
    )
    step_s: float | None = Field(description="Of a step: forward is positive. [s]")


class ClockEventsPage(Page[ClockEventBody]):
    """A page of what was noted of the clock, newest first."""


def clock_event_body(record: ClockEventRecord) -> ClockEventBody:
    """Return the body of one event of the clock."""
    return ClockEventBody(
        ledger_number=record.number,
        at=rfc3339(record.at_us),
        event=record.event,
        quality=record.quality,
        why=record.why,
        max_error_s=None if record.max_error_us is None else record.max_error_us / 1e6,
        step_s=None if record.step_us is None else record.step_us / 1e6,
    )

"""Bodies of the ledger and of live events."""

from pydantic import Field

from api.schemas.captures import GapBody
from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.schemas.readings import ReadingBody
from api.times import rfc3339
from storage.queries import LedgerRecord


class LedgerEntryBody(Body):
    """Who did what, when and why."""

    number: LedgerNumber
    at: UtcTime
    actor: str = Field(examples=["daemon"])
    actor_kind: str = Field(description="person, device or daemon.")
    action: str = Field(examples=["capture.opened"])
    reason: str | None = Field(description="Why, where a reason is asked for.")
    digest: str = Field(description="SHA-256 of the rows that came with it, in hexadecimal.")
    link: str = Field(description="SHA-256 over the link before and this entry, in hexadecimal.")


class LedgerPage(Page[LedgerEntryBody]):
    """A page of ledger entries, in their order."""


class EventBody(Body):
    """What one live event says. Its id is the ledger number."""

    number: LedgerNumber
    at: UtcTime
    action: str = Field(description="The action of the ledger entry.")
    reading: ReadingBody | None = Field(description="The reading that came, in an event `reading`.")
    gap: GapBody | None = Field(description="The gap that ended, in an event `gap`.")


def ledger_entry_body(record: LedgerRecord) -> LedgerEntryBody:
    """Return the body of a ledger entry."""
    return LedgerEntryBody(
        number=record.number,
        at=rfc3339(record.at_us),
        actor=record.actor,
        actor_kind=record.actor_kind,
        action=record.action,
        reason=record.reason,
        digest=record.digest.hex(),
        link=record.link.hex(),
    )

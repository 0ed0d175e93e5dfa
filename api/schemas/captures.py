"""Bodies of captures, frames and gaps."""

from typing import Literal

from pydantic import Field

from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.schemas.lines import optional_time
from api.times import rfc3339
from storage.queries import CaptureCounts, CaptureRecord, FrameRecord, GapRecord


class CaptureBody(Body):
    """The stored bytes of one line from its opening to its loss or closing."""

    capture_id: LedgerNumber
    line: str = Field(examples=["burette"])
    instrument: str = Field(examples=["burette-1"])
    driver: str = Field(examples=["so2-burette"])
    driver_version: str = Field(examples=["1"])
    device: str = Field(description="What was opened.", examples=["/dev/pts/4"])
    settings: str = Field(description="Line settings; empty where there are none.", examples=["9600 8N1"])
    opened_at: UtcTime
    ended_at: UtcTime | None = Field(description="Null while the line is open.")
    ending: str | None = Field(description="stopped, lost, complete or found_open; null while open.")
    why: str | None = Field(description="Why it ended, in plain words.")


class CapturesPage(Page[CaptureBody]):
    """A page of captures, newest first."""


class CaptureDetail(CaptureBody):
    """A capture with what it holds up to now."""

    heard_bytes: int = Field(description="[bytes]", ge=0)
    sent_bytes: int = Field(description="[bytes]", ge=0)
    frames_read: int = Field(ge=0)
    frames_refused: int = Field(ge=0)
    readings: int = Field(ge=0)


class FrameBody(Body):
    """Where the bytes of one message lie in a capture, and what became of them."""

    capture_id: LedgerNumber
    offset: int = Field(description="Of its first byte among the heard bytes. [bytes]", ge=0)
    length: int = Field(description="[bytes]", ge=1)
    outcome: Literal["read", "refused", "filler"]
    reason: str | None = Field(description="Code of the reason of a refusal.")
    detail: str | None = Field(description="What was wrong, what came, what was wanted.")
    ledger_number: LedgerNumber = Field(description="The entry that brought it.")


class FramesPage(Page[FrameBody]):
    """A page of the frames of one capture, in the order of its bytes."""


class GapBody(Body):
    """Time in which a line was not heard, or bytes known to be lost."""

    ledger_number: LedgerNumber
    line: str = Field(examples=["burette"])
    instrument: str = Field(examples=["burette-1"])
    begin: UtcTime
    end: UtcTime
    why: str = Field(examples=["the port was gone"])
    lost_bytes: int | None = Field(description="Null where nobody can tell. [bytes]")


class GapsPage(Page[GapBody]):
    """A page of gaps, newest first."""


def capture_body(record: CaptureRecord) -> CaptureBody:
    """Return the body of a capture."""
    return CaptureBody(
        capture_id=record.number,
        line=record.line,
        instrument=record.instrument,
        driver=record.driver,
        driver_version=record.driver_version,
        device=record.device,
        settings=record.settings,
        opened_at=rfc3339(record.opened_at_us),
        ended_at=optional_time(record.ended_at_us),
        ending=record.ending,
        why=record.why,
    )


def capture_detail(record: CaptureRecord, counts: CaptureCounts) -> CaptureDetail:
    """Return the body of a capture with what it holds."""
    return CaptureDetail(
        **capture_body(record).model_dump(),
        heard_bytes=counts.heard_bytes,
        sent_bytes=counts.sent_bytes,
        frames_read=counts.frames_read,
        frames_refused=counts.frames_refused,
        readings=counts.readings,
    )


def frame_body(record: FrameRecord) -> FrameBody:
    """Return the body of a frame."""
    return FrameBody(
        capture_id=record.capture_number,
        offset=record.offset,
        length=record.length,
        outcome=record.outcome,  # type: ignore[arg-type] # checked by pydantic against the known outcomes
        reason=record.reason,
        detail=record.detail,
        ledger_number=record.number,
    )


def gap_body(record: GapRecord) -> GapBody:
    """Return the body of a gap."""
    return GapBody(
        ledger_number=record.number,
        line=record.line,
        instrument=record.instrument,
        begin=rfc3339(record.begin_us),
        end=rfc3339(record.end_us),
        why=record.why,
        lost_bytes=record.lost_bytes,
    )

"""Bodies of what a far bench tells of its lines: the same over a broker and over REST."""

import base64
from collections.abc import Sequence
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from api.schemas.common import LedgerNumber, UtcTime
from api.times import rfc3339
from storage.queries.line_stream import LineEvent


class _Said(BaseModel):
    """Only ever written, thousands in a second: what checks the bodies of requests would cost too much."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class LineEventBody(_Said):
    """Something that happened on a line; what is null does not belong to its kind."""

    revision: LedgerNumber = Field(description="Ledger number at the far bench.")
    what: Literal["opened", "heard", "sent", "silent", "closed", "gap"] = Field(
        description="`silent`: up to `at` nothing came, and that completed frames."
    )
    at: UtcTime = Field(description="By the far bench's clock; of a gap, its end.")
    capture: LedgerNumber | None = Field(None, description="Number of the capture at the far bench.")
    offset: int | None = Field(
        None, description="Of the bytes, in the stream of their direction. [bytes]", ge=0
    )
    data: str | None = Field(None, description="The bytes, in base64.")
    instrument: str | None = None
    device: str | None = None
    settings: str | None = None
    driver: str | None = Field(None, description="Which read the line at the far bench.")
    driver_version: str | None = None
    ending: str | None = None
    why: str | None = None
    heard_bytes: int | None = Field(None, ge=0)
    sent_bytes: int | None = Field(None, ge=0)
    begin: UtcTime | None = Field(None, description="Of a gap.")
    lost_bytes: int | None = Field(None, ge=0)


class CapturesMessage(_Said):
    """What happened next on one line of a far bench."""

    schema_: Literal["tundish.captures/1"] = Field(alias="schema")
    site: str = Field(description="Empty over REST, where the daemon need not publish as a site.")
    store: str = Field(description="Id of the store at the far bench.")
    store_kind: Literal["real", "demo", "practice"]
    line: str = Field(description="Name of the line at the far bench.")
    sent_at: UtcTime = Field(description="By the far bench's clock.")
    previous: LedgerNumber = Field(
        description="Revision of the event of this line before the first one here; 0 if there is none."
    )
    events: list[LineEventBody]


def line_event_body(event: LineEvent) -> LineEventBody:
    """Return the body of an event."""
    return LineEventBody(
        revision=event.number,
        what=event.what,  # type: ignore[arg-type] # checked by pydantic against the known kinds
        at=rfc3339(event.at_us),
        capture=event.capture,
        offset=event.offset,
        data=None if event.data is None else base64.b64encode(event.data).decode(),
        instrument=event.instrument,
        device=event.device,
        settings=event.settings,
        driver=event.driver,
        driver_version=event.driver_version,
        ending=event.ending,
        why=event.why,
        heard_bytes=event.heard_bytes,
        sent_bytes=event.sent_bytes,
        begin=None if event.begin_us is None else rfc3339(event.begin_us),
        lost_bytes=event.lost_bytes,
    )


def captures_message(
    line: str,
    events: Sequence[LineEvent],
    *,
    previous: int,
    site: str,
    store: tuple[str, str],
    sent_at_us: int,
) -> CapturesMessage:
    """Return a message; `store` is id and kind. [µs since 1970 UTC]"""
    return CapturesMessage.model_validate(
        {
            "schema": "tundish.captures/1",
            "site": site,
            "store": store[0],
            "store_kind": store[1],
            "line": line,
            "sent_at": rfc3339(sent_at_us),
            "previous": previous,
            "events": [line_event_body(event) for event in events],
        }
    )

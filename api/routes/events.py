"""Live events: the ledger as it grows, as server-sent events."""

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Header, Query, Response
from fastapi.responses import StreamingResponse
from fastapi.sse import KEEPALIVE_COMMENT, format_sse_event
from sqlalchemy import Connection

from api.database import Database
from api.dependencies import DatabaseOf, Parts, PartsOf
from api.live import Pace, follow
from api.parameters import LARGEST
from api.problems import ParameterFault, ProblemError
from api.routing import reads
from api.schemas.captures import gap_body
from api.schemas.ledger import EventBody
from api.schemas.readings import reading_body
from api.times import rfc3339
from storage import queries
from storage.queries import GapRecord, LedgerRecord, ReadingFilter, ReadingRecord

router = APIRouter(tags=["events"])

KINDS: Final = {
    "backup": "health",
    "capture": "line",
    "clock": "health",
    "fault": "fault",
    "gap": "gap",
    "line": "line",
    "release": "result",
    "result": "result",
    "tray": "tray",
}
"""Event types by the first word of a ledger action; a reading is known by its row."""
EVENT_STREAM: Final = "text/event-stream"
RETRY_MS: Final = 1000  # a browser that lost the stream comes back after this [ms]


@dataclass(frozen=True, slots=True)
class News:
    """A ledger entry with what it brought, as far as live clients care."""

    entry: LedgerRecord
    reading: ReadingRecord | None
    gap: GapRecord | None

    @property
    def number(self) -> int:
        """The ledger number."""
        return self.entry.number

    @property
    def kind(self) -> str | None:
        """The event's type; None for entries that are no news, such as chunks of bytes."""
        return "reading" if self.reading else KINDS.get(self.entry.action.partition(".")[0])


def news_after(connection: Connection, after: int, limit: int) -> Sequence[News]:
    """Return the ledger entries after a number with what they brought, in order."""
    entries = queries.ledger_after(connection, after=after, limit=limit)
    last = entries[-1].number if entries else after
    records = queries.readings_after(
        connection, ReadingFilter(with_withdrawn=True), after=after, up_to=last, limit=limit
    )
    readings = {record.number: record for record in records}
    return [News(entry, readings.get(entry.number), _gap(connection, entry)) for entry in entries]


def _gap(connection: Connection, entry: LedgerRecord) -> GapRecord | None:
    if not entry.action.startswith("gap"):
        return None
    found = queries.gaps_before(connection, before=entry.number + 1, limit=1)
    return found[0] if found and found[0].number == entry.number else None


async def _resume_point(
    parts: PartsOf,
    database: DatabaseOf,
    since: Annotated[
        int | None,
        Query(
            ge=0, le=LARGEST, description="Begin after this ledger number; without it, begin with what comes."
        ),
    ] = None,
    last_event_id: Annotated[
        str | None,
        Header(max_length=20, description="Sent by a browser that comes back; goes before `since`."),
    ] = None,
) -> int:
    """Return the ledger number after which a stream begins; refuse one more stream than there may be."""
    limit = parts.services.settings.stream_limit
    if parts.bell.listeners >= limit:
        detail = f"{limit} live streams are open, more are not served; close a page or ask again later"
        raise ProblemError(HTTPStatus.SERVICE_UNAVAILABLE, detail)
    head = await database.read(queries.head)
    place = _given_place(since, last_event_id)
    if place is not None and place > head:
        name, where = ("since", "query") if last_event_id is None else ("last-event-id", "header")
        detail = f"{place} lies in the future; the newest ledger number is {head}"
        fault = ParameterFault(parameter=name, location=where, detail=detail)
        raise ProblemError(HTTPStatus.BAD_REQUEST, f"{name}: {detail}", [fault])
    return head if place is None else place


def _given_place(since: int | None, last_event_id: str | None) -> int | None:
    if not last_event_id:
        return since
    if not (last_event_id.isascii() and last_event_id.isdigit()):
        detail = f"it must be the id of an event, a ledger number; what came is {last_event_id!r}"
        fault = ParameterFault(parameter="last-event-id", location="header", detail=detail)
        raise ProblemError(HTTPStatus.BAD_REQUEST, f"last-event-id: {detail}", [fault])
    return int(last_event_id)


async def _head_events(place: Annotated[int, Depends(_resume_point)]) -> Response:  # noqa: ARG001 - it is checked
    return Response(media_type=EVENT_STREAM, headers={"Cache-Control": "no-cache"})


class EventStream(StreamingResponse):
    """Server-sent events.

    The framework's own stream class is for generators that it drives through queues; a client that leaves in
    the middle of a burst makes it raise, so the pieces are streamed as they are.
    """

    media_type = EVENT_STREAM


@reads(router, "/events", head=_head_events, response_class=EventStream, summary="What happens, live")
async def stream_events(
    place: Annotated[int, Depends(_resume_point)], parts: PartsOf, database: DatabaseOf
) -> EventStream:
    """Stream what happens as server-sent events of the types reading, line, gap and fault.

    The id of an event is its ledger number. A client that comes back with `Last-Event-ID` misses nothing and
    gets nothing twice. The stream never ends by itself; a client that takes nothing for long is dropped.
    """
    headers = {"Cache-Control": "no-cache", "X-Accel-Buffering": "no"}
    return EventStream(_events(place, parts, database), headers=headers)


async def _events(place: int, parts: Parts, database: Database) -> AsyncIterator[bytes]:
    settings = parts.services.settings
    pace = Pace(settings.live_round_s, settings.live_round_events)
    yield format_sse_event(comment="tundish", retry=RETRY_MS)

    async def read(after: int, limit: int) -> Sequence[News]:
        return await database.read(news_after, after, limit)

    async for round_of_news in follow(place, read, parts.bell, pace):
        # One piece a round: a round of many events costs one send.
        yield b"".join(_event(news) for news in round_of_news if news.kind) or KEEPALIVE_COMMENT


def _event(news: News) -> bytes:
    body = EventBody(
        number=news.number,
        at=rfc3339(news.entry.at_us),
        action=news.entry.action,
        reading=reading_body(news.reading) if news.reading else None,
        gap=gap_body(news.gap) if news.gap else None,
    )
    return format_sse_event(data_str=body.model_dump_json(), event=news.kind, id=str(news.number))

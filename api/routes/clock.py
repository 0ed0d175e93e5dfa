"""What was noted of the host's clock."""

from fastapi import APIRouter, Request, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.parameters import LARGEST, Cursor, Limit, Walk
from api.routing import reads
from api.schemas.clock import ClockEventsPage, clock_event_body
from storage import queries
from storage.queries import ClockEventRecord

router = APIRouter(tags=["health"])


@reads(router, "/clock-events", response_model=ClockEventsPage, summary="Steps of the clock, newest first")
async def list_clock_events(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> ClockEventsPage:
    """Return when the host's clock was put forward or back, and when it was kept in step or no longer."""
    walk = Walk("clock-events", LARGEST, cursor)

    def page(connection: Connection) -> tuple[int, list[ClockEventRecord]]:
        found = queries.clock_events_before(connection, before=walk.place, limit=limit + 1)
        return queries.head(connection), found

    head, records = await database.read(page)
    last = records[limit - 1].number if len(records) > limit else None
    return ClockEventsPage(
        items=[clock_event_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )

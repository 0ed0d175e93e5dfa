"""What happened on a line, for whoever collects it and missed some of it on the way."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.parameters import LARGEST, Limit
from api.routing import reads
from api.schemas.line_stream import CapturesMessage, captures_message
from storage import queries
from storage.queries.line_stream import last_of_line, line_events

router = APIRouter(tags=["lines"])

After = Annotated[int, Query(ge=0, le=LARGEST, description="Events behind this revision.")]
Line = Annotated[str, Path(max_length=200)]


@reads(
    router,
    "/lines/{line}/stream",
    response_model=CapturesMessage,
    summary="What happened on a line, in order",
    response_model_exclude_none=True,
)
async def get_line_stream(
    *,
    line: Line,
    services: ServicesOf,
    database: DatabaseOf,
    response: Response,
    after: After = 0,
    limit: Limit = 100,
) -> CapturesMessage:
    """Return openings, bytes, silences, ends and gaps of a line, as they are published to a broker."""
    response.headers["Cache-Control"] = "no-store"
    now_us = services.clock_us()

    def read(connection: Connection) -> CapturesMessage:
        info = queries.info(connection)
        return captures_message(
            line,
            line_events(connection, after, limit, line),
            previous=last_of_line(connection, line, after),
            site="",
            store=(info.store_id, info.kind),
            sent_at_us=now_us,
        )

    return await database.read(read)

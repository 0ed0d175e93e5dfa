"""Captures, their bytes and frames, and the gaps between them."""

from collections.abc import AsyncIterator
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import StreamingResponse
from sqlalchemy import Connection

from api.database import Database
from api.dependencies import DatabaseOf
from api.parameters import LARGEST, Cursor, Identifier, Limit, LineName, Walk
from api.problems import not_found
from api.routing import reads
from api.schemas.captures import (
    CaptureDetail,
    CapturesPage,
    FramesPage,
    GapsPage,
    capture_body,
    capture_detail,
    frame_body,
    gap_body,
)
from storage import queries
from storage.queries import CaptureCounts, CaptureRecord, FrameRecord, GapRecord

router = APIRouter(tags=["captures"])

WINDOW_CHUNKS = 64  # read in one short transaction, so that a slow client never holds the store
BYTES_MEDIA_TYPE = "application/octet-stream"

FrameOutcome = Annotated[
    Literal["read", "refused", "filler"] | None, Query(description="Only frames of this kind.")
]


@reads(router, "/captures", response_model=CapturesPage, summary="Captures, newest first")
async def list_captures(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    line: LineName = None,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> CapturesPage:
    """Return a page of captures."""
    walk = Walk("captures", LARGEST, cursor, line=line)

    def page(connection: Connection) -> tuple[int, list[CaptureRecord]]:
        found = queries.captures_before(connection, before=walk.place, limit=limit + 1, line=line)
        return queries.head(connection), found

    head, records = await database.read(page)
    last = records[limit - 1].number if len(records) > limit else None
    return CapturesPage(
        items=[capture_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )


@reads(router, "/captures/{capture_id}", response_model=CaptureDetail, summary="One capture")
async def get_capture(capture_id: Identifier, database: DatabaseOf) -> CaptureDetail:
    """Return a capture with what it holds up to now."""
    return capture_detail(*await database.read(_capture, capture_id))


def _capture(connection: Connection, capture_id: int) -> tuple[CaptureRecord, CaptureCounts]:
    found = queries.capture_by_number(connection, capture_id)
    if found is None:
        raise not_found(f"there is no capture {capture_id}; take ids from /api/v1/captures")
    return found, queries.capture_counts(connection, capture_id)


@reads(
    router,
    "/captures/{capture_id}/bytes",
    response_class=Response,
    summary="The heard bytes of a capture",
    responses={200: {"content": {BYTES_MEDIA_TYPE: {}}, "description": "Exactly what the line delivered."}},
)
async def get_capture_bytes(capture_id: Identifier, request: Request, database: DatabaseOf) -> Response:
    """Return exactly what the line delivered up to now."""
    _, counts = await database.read(_capture, capture_id)
    headers = {
        "Content-Length": str(counts.heard_bytes),
        "Content-Disposition": f'attachment; filename="capture-{capture_id}.bin"',
    }
    if request.method == "HEAD":
        return Response(headers=headers, media_type=BYTES_MEDIA_TYPE)
    stream = heard_bytes(database, capture_id, counts.heard_bytes)
    return StreamingResponse(stream, headers=headers, media_type=BYTES_MEDIA_TYPE)


async def heard_bytes(database: Database, capture_id: int, size: int) -> AsyncIterator[bytes]:
    """Yield the first `size` heard bytes of a capture, window by window. [bytes]"""
    after = 0
    left = size
    while left > 0:
        chunks = await database.read(queries.chunks_after, capture_id, after=after, limit=WINDOW_CHUNKS)
        data = b"".join(chunk.data for chunk in chunks)[:left]
        yield data
        after = chunks[-1].number
        left -= len(data)


@reads(router, "/captures/{capture_id}/frames", response_model=FramesPage, summary="The frames of a capture")
async def list_frames(
    *,
    capture_id: Identifier,
    request: Request,
    response: Response,
    database: DatabaseOf,
    outcome: FrameOutcome = None,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> FramesPage:
    """Return a page of frames in the order of their bytes; what no frame holds yet is the open tail."""
    walk = Walk("frames", 0, cursor, capture=capture_id, outcome=outcome)

    def page(connection: Connection) -> tuple[int, list[FrameRecord]]:
        _capture_exists(connection, capture_id)
        found = queries.frames_from(
            connection, capture_id, offset=walk.place, limit=limit + 1, outcome=outcome
        )
        return queries.head(connection), found

    head, records = await database.read(page)
    following = records[limit].offset if len(records) > limit else None
    return FramesPage(
        items=[frame_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, following),
        head=head,
    )


def _capture_exists(connection: Connection, capture_id: int) -> None:
    if queries.capture_by_number(connection, capture_id) is None:
        raise not_found(f"there is no capture {capture_id}; take ids from /api/v1/captures")


@reads(router, "/gaps", response_model=GapsPage, summary="Gaps, newest first")
async def list_gaps(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    line: LineName = None,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> GapsPage:
    """Return a page of gaps: times in which a line was not heard."""
    walk = Walk("gaps", LARGEST, cursor, line=line)

    def page(connection: Connection) -> tuple[int, list[GapRecord]]:
        found = queries.gaps_before(connection, before=walk.place, limit=limit + 1, line=line)
        return queries.head(connection), found

    head, records = await database.read(page)
    last = records[limit - 1].number if len(records) > limit else None
    return GapsPage(
        items=[gap_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )

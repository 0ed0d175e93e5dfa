"""Readings, and the thread of one back to its bytes."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.parameters import Identifier, ReadingPageChoice, Walk, refuse_future
from api.routing import reads
from api.schemas.readings import (
    ReadingsPage,
    ReadingThread,
    driver_body,
    reading_body,
    thread_frame_body,
)
from api.thread import read_thread
from storage import queries
from storage.queries import ReadingFilter, ReadingRecord

router = APIRouter(tags=["readings"])


@reads(router, "/readings", response_model=ReadingsPage, summary="Readings, oldest revision first")
async def list_readings(
    choice: Annotated[ReadingPageChoice, Query()], request: Request, response: Response, database: DatabaseOf
) -> ReadingsPage:
    """Return a page of the current version of each reading.

    Pages follow the revision, so a walk neither skips nor repeats while readings come in, and `since` with
    the `head` of the last page brings only what is new or changed.
    """
    wanted = choice.filter()
    walk = Walk("readings", choice.since, choice.cursor, since=choice.since, filter=wanted)
    head, records = await database.read(_page, wanted, walk.place, choice.limit + 1)
    refuse_future(choice.since, head)
    page, more = records[: choice.limit], len(records) > choice.limit
    return ReadingsPage(
        items=[reading_body(record) for record in page],
        next=walk.next_cursor(request, response, page[-1].number if more else None),
        head=head,
    )


def _page(
    connection: Connection, wanted: ReadingFilter, after: int, limit: int
) -> tuple[int, list[ReadingRecord]]:
    head = queries.head(connection)
    return head, queries.readings_after(connection, wanted, after=after, up_to=head, limit=limit)


@reads(router, "/readings/{reading_id}", response_model=ReadingThread, summary="One reading and its thread")
async def get_reading(reading_id: Identifier, database: DatabaseOf) -> ReadingThread:
    """Return every version of a reading, and the frame, capture and driver that it came from."""
    thread = await database.read(read_thread, reading_id)
    return ReadingThread(
        reading=reading_body(thread.versions[-1]),
        versions=[reading_body(version) for version in thread.versions],
        frame=thread_frame_body(thread.frame, thread.data),
        driver=driver_body(thread.driver),
    )

"""Streaming instruments: what they show, what came to rest, and taking what stands there now."""

from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.desk import DeskOf
from api.parameters import Cursor, Limit, Since, Walk, refuse_future
from api.parameters import Name as AnyName
from api.routing import reads, writes
from api.schemas.settling import SettledBody, SettledPage, StreamBody, TapBody, settled_body, stream_body
from bench.actor import Actor
from bench.settle import shown
from bench.tap import tap
from storage import queries
from storage.queries.settling import SettledRecord, settled_after
from storage.transaction import Transaction

router = APIRouter(tags=["instruments"])


@reads(router, "/settled", response_model=SettledPage, summary="Readings of record of streams, oldest first")
async def list_settled(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    instrument: AnyName | None = None,
    since: Since = 0,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> SettledPage:
    """Return a page of what came to rest or was taken, with its rule and its stretch of readings."""
    walk = Walk("settled", since, cursor, since=since, instrument=instrument)

    def page(connection: Connection) -> tuple[int, list[SettledRecord]]:
        found = settled_after(connection, after=walk.place, limit=limit + 1, instrument=instrument)
        return queries.head(connection), found

    head, records = await database.read(page)
    refuse_future(since, head)
    last = records[limit - 1].number if len(records) > limit else None
    return SettledPage(
        items=[settled_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )


@reads(
    router,
    "/instruments/{instrument}/settling/{quantity}",
    response_model=StreamBody,
    summary="Whether a value has come to rest",
)
async def get_settling(instrument: str, quantity: str, database: DatabaseOf) -> StreamBody:
    """Return what a quantity of an instrument shows now, by the rule in the instrument's record."""
    return stream_body(*await database.read(shown, instrument, quantity))


@writes(
    router, "POST", "/instruments/{instrument}/tap", response_model=SettledBody, summary="Take this value"
)
async def tap_instrument(instrument: str, body: TapBody, desk: DeskOf) -> Any:
    """Make the newest reading of a quantity the one of record, and what it amounts to at once.

    It may be taken before it came to rest; its result then says so and wants to be looked at again.
    """

    def work(tx: Transaction, actor: Actor) -> dict[str, Any]:
        return settled_body(tap(tx, actor, instrument, body.quantity)).model_dump(mode="json")

    return await desk.act(work, reason=body.reason)

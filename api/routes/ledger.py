"""The ledger: who did what, when and why, in commit order."""

from fastapi import APIRouter, Request, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.parameters import Cursor, Limit, Since, Walk, refuse_future
from api.routing import reads
from api.schemas.ledger import LedgerPage, ledger_entry_body
from storage import queries
from storage.queries import LedgerRecord

router = APIRouter(tags=["ledger"])


@reads(router, "/ledger", response_model=LedgerPage, summary="Ledger entries in their order")
async def list_ledger(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    since: Since = 0,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> LedgerPage:
    """Return a page of ledger entries, with the digests that `tundish verify` recomputes."""
    walk = Walk("ledger", since, cursor, since=since)

    def page(connection: Connection) -> tuple[int, list[LedgerRecord]]:
        return queries.head(connection), queries.ledger_after(connection, after=walk.place, limit=limit + 1)

    head, records = await database.read(page)
    refuse_future(since, head)
    last = records[limit - 1].number if len(records) > limit else None
    return LedgerPage(
        items=[ledger_entry_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )

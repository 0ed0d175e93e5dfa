"""Stored captures through another driver: what would change, and applied."""

from fastapi import APIRouter, Request, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ManagerOf, ServicesOf, act_of
from api.keys import Scope
from api.parameters import LARGEST, Cursor, Limit, Walk
from api.routing import reads, writes
from api.schemas.pours import PourReportBody, PoursPage, PourWanted, pour_body, report_body
from storage import queries
from storage.queries import PourRecord

router = APIRouter(tags=["pours"])


@reads(router, "/pours", response_model=PoursPage, summary="Pours that changed something, newest first")
async def list_pours(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> PoursPage:
    """Return a page of pours; one that was stopped half way names fewer captures than its scope holds."""
    walk = Walk("pours", LARGEST, cursor)

    def page(connection: Connection) -> tuple[int, list[PourRecord]]:
        found = queries.pours_before(connection, before=walk.place, limit=limit + 1)
        return queries.head(connection), found

    head, records = await database.read(page)
    last = records[limit - 1].number if len(records) > limit else None
    return PoursPage(
        items=[pour_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )


@writes(
    router,
    "POST",
    "/pours/preview",
    scope=Scope.MANAGE,
    response_model=PourReportBody,
    summary="What a driver would change",
)
async def preview_pour(body: PourWanted, _actor: ManagerOf, services: ServicesOf) -> PourReportBody:
    """Pour stored captures through a driver and say which readings it finds otherwise; nothing is written."""
    return report_body(await services.pours.suppose(body.wanted_driver(), body.scope()))


@writes(
    router,
    "POST",
    "/pours",
    scope=Scope.MANAGE,
    response_model=PourReportBody,
    summary="Apply a driver to stored captures",
)
async def apply_pour(body: PourWanted, actor: ManagerOf, services: ServicesOf) -> PourReportBody:
    """Enter new versions of the readings that a driver finds otherwise, as one act with one reason.

    What was read before stays readable. Applied twice it changes nothing; stopped half way, it goes on when
    it is asked for again.
    """
    act = act_of(actor, body.reason)
    return report_body(await services.pours.apply(body.wanted_driver(), body.scope(), act))

"""The pages: the bench at a glance, the lines with what to do, the thread of one reading."""

from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.dependencies import DatabaseOf, PartsOf, ServicesOf
from api.hexdump import hex_rows
from api.overview import read_overview
from api.parameters import Identifier
from api.routing import reads
from api.thread import read_thread
from api.vitals import read_vitals

router = APIRouter()


@reads(router, "/")
async def bench_page(request: Request, parts: PartsOf, database: DatabaseOf) -> HTMLResponse:
    """Show every line's state and the newest readings."""
    overview = await database.read(read_overview)
    return parts.pages.draw(
        request,
        "bench.html",
        lines=parts.services.lines.states(),
        instruments=overview.instruments,
        newest=overview.newest,
    )


@reads(router, "/lines")
async def lines_page(
    request: Request, parts: PartsOf, services: ServicesOf, database: DatabaseOf
) -> HTMLResponse:
    """Show how each line is doing, why, and what to do; the store and the clock."""
    health = services.health.report()
    vitals = await database.read(partial(read_vitals, publishing=health.publishing is not None))
    return parts.pages.draw(
        request,
        "lines.html",
        lines=services.lines.states(),
        health=health,
        vitals=vitals,
        backup_due=vitals.backup_is_due(services.clock_us(), services.settings.store_kind),
    )


@reads(router, "/readings/{reading_id}")
async def thread_page(
    reading_id: Identifier, request: Request, parts: PartsOf, database: DatabaseOf
) -> HTMLResponse:
    """Show the walk from a reading back to its bytes."""
    thread = await database.read(read_thread, reading_id)
    return parts.pages.draw(
        request,
        "reading.html",
        thread=thread,
        reading=thread.versions[-1],
        rows=hex_rows(thread.data, thread.frame.offset),
    )

"""The pages of the day's work: trays, results that wait for somebody, and where each lot stands."""

from enum import StrEnum
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, PartsOf, ServicesOf
from api.lot_view import read_lot, read_lots
from api.parameters import LARGEST
from api.routes.results import result_body
from api.routing import reads
from api.schemas.bench import ResultBody
from api.tray_view import read_trays
from storage.queries.result_statements import ResultFilter
from storage.queries.results import newest_results

router = APIRouter()

PAGE_ROWS = 60
LOOKED_AT = 2000
"""How many results are gone through, newest first, for those that are asked for."""


class Wanted(StrEnum):
    """Which results a person wants to see."""

    ALL = "all"
    ATTENTION = "attention"
    """Look again, or do not use, and not yet rejected."""
    WAITING = "waiting"
    """Nobody has released or rejected them."""

    def takes(self, standing: str | None, mark: str | None) -> bool:
        """Tell whether a result is among them."""
        if self is Wanted.ATTENTION:
            return standing in ("look_again", "do_not_use") and mark != "rejected"
        return self is Wanted.ALL or mark is None


@reads(router, "/trays")
async def trays_page(request: Request, parts: PartsOf, database: DatabaseOf) -> HTMLResponse:
    """Show what stands on each instrument, its tray, and what was found so far."""
    view = await database.read(read_trays)
    return parts.pages.draw(request, "trays.html", view=view)


@reads(router, "/results")
async def results_page(
    request: Request,
    parts: PartsOf,
    database: DatabaseOf,
    show: Wanted = Wanted.ALL,
    before: Annotated[int | None, Query(ge=1, le=LARGEST)] = None,
) -> HTMLResponse:
    """Show results, newest first, with why they stand as they do; release or reject them."""
    found = await database.read(_results, show, before)
    return parts.pages.draw(
        request,
        "results.html",
        results=found[:PAGE_ROWS],
        further=found[PAGE_ROWS - 1].id if len(found) > PAGE_ROWS else None,
        show=show.value,
        kinds=[(one.value, WORDS[one]) for one in Wanted],
    )


WORDS = {Wanted.ALL: "every result", Wanted.ATTENTION: "needs a look", Wanted.WAITING: "not released"}


def _results(connection: Connection, show: Wanted, before: int | None) -> list[ResultBody]:
    """Return one more than fits on a page, so that it is known whether there are further ones."""
    found = newest_results(connection, ResultFilter(), before=before, limit=LOOKED_AT)
    wanted = [one for one in found if show.takes(one.standing, one.mark)]
    return [result_body(connection, one) for one in wanted[: PAGE_ROWS + 1]]


@reads(router, "/lots")
async def lots_page(
    request: Request, parts: PartsOf, database: DatabaseOf, services: ServicesOf
) -> HTMLResponse:
    """Show where each lot stands: the latest of what is asked most, with its age, against its band."""
    lots = await database.read(read_lots, services.clock_us())
    return parts.pages.draw(request, "lots.html", lots=lots)


@reads(router, "/lots/{code}")
async def lot_page(
    *,
    code: str,
    request: Request,
    parts: PartsOf,
    database: DatabaseOf,
    services: ServicesOf,
    dose: Annotated[float | None, Query(ge=0, le=500, description="Sulfur dioxide to add. [mg/L]")] = None,
) -> HTMLResponse:
    """Show one lot: its latest numbers, its limits, when it leaves its band, and what a dose would do."""
    view = await database.read(read_lot, code, services.clock_us(), dose)
    return parts.pages.draw(request, "lot.html", view=view, asked_dose=dose)

"""The web application, built from its services; nothing is built on import."""

from fastapi import APIRouter, Depends, FastAPI

from api.audit import Audit
from api.callers import KeyGuard
from api.database import Database
from api.dependencies import Parts
from api.desk import on_refusal
from api.guards import add_guards
from api.live import Bell
from api.pages import Pages
from api.problems import DOCUMENTED, add_problem_handlers
from api.routes import (
    addition_cards,
    addition_pages,
    additions,
    amendments,
    backups,
    bench,
    captures,
    cells,
    clock,
    control_records,
    documents,
    events,
    health,
    holds,
    instruments,
    keys,
    learning,
    ledger,
    line_acts,
    line_stream,
    lines,
    lots,
    movements,
    notices,
    pins,
    pours,
    readings,
    recipes,
    records,
    register,
    result_thread,
    results,
    runs,
    settling,
    sheets,
    statics,
    today,
    trays,
    what_if_pages,
    work,
)
from api.routing import refuse_unknown_parameters
from api.services import Services
from bench.refused import RefusedError

API_PREFIX = "/api/v1"

DESCRIPTION = """
Readings of a winery laboratory's instruments, each with its thread back to the bytes it came from.

Times are UTC with microseconds. A value comes as a number and, beside it, as the text that the instrument
sent; where there is no number, `outcome` says why. Every error is a problem document. A ledger number is the
revision of a reading, the `since` cursor and the id of a live event.
"""


_CELLAR = (lots, movements, additions, runs, register)
"""What is asked of the wine."""


def create_app(services: Services) -> FastAPI:
    """Return the application; when the daemon stops, first :func:`end_streams`, last :func:`close_app`."""
    bell = Bell()
    unsubscribe = services.commits.subscribe(bell.ring)
    app = FastAPI(
        title="tundish",
        version=services.health.report().version,
        description=DESCRIPTION,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,  # one address a thing; any other is told as not found
        telemetry={"auto_configure": False},
    )
    app.state.parts = Parts(services, Database(services.store), bell, Pages(services), unsubscribe)
    app.add_middleware(KeyGuard)
    app.add_middleware(Audit)
    add_guards(app, services.settings.allowed_hosts, services.settings.send_timeout_s)
    add_problem_handlers(app)
    app.add_exception_handler(RefusedError, on_refusal)
    _lay_routes(app)
    return app


def end_streams(app: FastAPI) -> None:
    """End the live streams, so that the server can stop at once; other requests are still answered."""
    _parts(app).bell.close()


def close_app(app: FastAPI) -> None:
    """End the reader threads, once the server has stopped."""
    end_streams(app)
    _parts(app).unsubscribe()
    _parts(app).database.close()


def _parts(app: FastAPI) -> Parts:
    found = app.state.parts
    assert isinstance(found, Parts)  # noqa: S101 - create_app put it there
    return found


_DAEMON = (health, clock, backups, line_acts, keys)
_HEARING = (
    learning,
    lines,
    line_stream,
    instruments,
    captures,
    readings,
    notices,
    ledger,
    events,
    documents,
    pours,
    settling,
)
_BENCH = (records, pins, trays, control_records, holds, results, result_thread, amendments, today)
_PAGES = (
    bench.router,
    recipes.router,
    work.router,
    result_thread.pages,
    today.pages,
    addition_pages.router,
    addition_cards.router,
    what_if_pages.router,
)


def _lay_routes(app: FastAPI) -> None:
    strict = [Depends(refuse_unknown_parameters)]
    api = APIRouter(prefix=API_PREFIX, responses=DOCUMENTED, dependencies=strict)
    for room in (*_DAEMON, *_HEARING, *_BENCH, *_CELLAR):
        api.include_router(room.router)
    app.include_router(api)
    for room in (sheets, cells):
        app.include_router(room.router, responses=DOCUMENTED, dependencies=strict)
    app.include_router(statics.router, include_in_schema=False, dependencies=strict)
    for page in _PAGES:
        app.include_router(page, include_in_schema=False, dependencies=strict)

"""How the daemon is doing."""

from fastapi import APIRouter, Response

from api.dependencies import DatabaseOf, ServicesOf
from api.routing import reads
from api.schemas.lines import HealthBody, store_health
from api.times import rfc3339
from storage import queries

router = APIRouter(tags=["health"])


@reads(router, "/health", response_model=HealthBody, summary="How the daemon is doing")
async def get_health(services: ServicesOf, database: DatabaseOf, response: Response) -> HealthBody:
    """Return the state of the store, the queue before it, the clock and the lines.

    The status is 200 as long as the daemon answers; `ok` says whether a person should look.
    """
    response.headers["Cache-Control"] = "no-store"
    report = services.health.report()
    states = services.lines.states()
    troubled = [state.line for state in states if state.state in {"unrecognised", "waiting", "failed"}]
    head = await database.read(queries.head)
    return HealthBody(
        ok=report.store_ok and not troubled,
        version=report.version,
        now=rfc3339(services.clock_us()),
        clock=report.clock_note,
        store=store_health(report, services.settings.store_kind, head),
        lines_open=sum(state.state == "open" for state in states),
        lines_not_open=troubled,
    )

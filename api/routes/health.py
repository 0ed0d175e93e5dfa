"""How the daemon is doing."""

from functools import partial

from fastapi import APIRouter, Response

from api.dependencies import DatabaseOf, ServicesOf
from api.routing import reads
from api.schemas.health import HealthBody, clock_health, is_published, publish_health, store_health
from api.times import rfc3339
from api.vitals import read_vitals

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
    publishing = report.publishing
    vitals = await database.read(partial(read_vitals, publishing=publishing is not None))
    now_us = services.clock_us()
    return HealthBody(
        ok=report.store_ok and not troubled and is_published(publishing, vitals.outbox),
        version=report.version,
        now=rfc3339(now_us),
        clock=clock_health(report, vitals),
        store=store_health(report, vitals, services.settings.store_kind, now_us),
        publishing=publish_health(publishing, vitals.outbox, now_us),
        lines_open=sum(state.state == "open" for state in states),
        lines_not_open=troubled,
    )

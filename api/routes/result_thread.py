"""The thread of a result: from the number back to formula, calibration, titrant, checks, curve and bytes."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.dependencies import DatabaseOf, PartsOf
from api.hexdump import hex_rows
from api.parameters import Identifier
from api.result_thread import read_result_thread
from api.routing import reads
from api.schemas.result_thread import ResultThreadBody
from api.trend import trend
from bench.result_thread import RunThread

router = APIRouter(tags=["results"])
pages = APIRouter()


@reads(
    router,
    "/results/{result_id}/thread",
    response_model=ResultThreadBody,
    summary="Everything that a result stood on",
)
async def get_thread(result_id: Identifier, database: DatabaseOf) -> ResultThreadBody:
    """Return the walk from a result back to the bytes: formula with its numbers, records, frame, driver."""
    return (await database.read(read_result_thread, result_id)).body


@reads(pages, "/results/{result_id}")
async def thread_page(
    result_id: Identifier, request: Request, parts: PartsOf, database: DatabaseOf
) -> HTMLResponse:
    """Show the walk from a result back to its bytes."""
    whole = await database.read(read_result_thread, result_id)
    return parts.pages.draw(
        request,
        "result.html",
        thread=whole.body,
        result=whole.body.result,
        walks=list(whole.readings.values()),
        dumps={one: hex_rows(walk.data, walk.frame.offset) for one, walk in whole.readings.items()},
        curve=_curve(whole.run),
    )


def _curve(run: RunThread | None) -> object:
    """Return the drawing of the first signal of a run against volume; None if there is none."""
    if run is None or not run.points:
        return None
    first = run.points[0].signal_quantity
    points = [
        (round(one.volume_ml * 1e6), one.signal)
        for one in run.points
        if one.signal_quantity == first and one.volume_ml is not None
    ]
    return trend(sorted(points, key=lambda point: point[0]))

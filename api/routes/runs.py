"""Titrations while they run and after: curve so far, warnings, notes, rejection, another end point."""

from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.desk import DeskOf, Work
from api.parameters import After, Identifier, Limit
from api.routes.trays import code_of
from api.routing import reads, writes
from api.schemas.bench import MadeAnswer
from api.schemas.runs import (
    CurveBody,
    CurvePointBody,
    EndPointBody,
    FromCurveBody,
    NoteBody,
    RunBody,
    RunNoteBody,
    RunPage,
    RunReasonBody,
    RunWarningBody,
)
from api.times import rfc3339
from bench import run_acts as acts
from bench.actor import Actor
from bench.canonical_json import from_text
from bench.curve_results import FromCurve, from_curve, make_from_curve, unit_of
from storage.queries.runs import (
    CurvePoint,
    Run,
    RunNote,
    RunWarning,
    noted,
    points_of_run,
    results_of_run,
    run_warnings,
    running,
    runs_after,
)
from storage.transaction import Transaction

router = APIRouter(tags=["runs"])


@reads(router, "/runs", response_model=RunPage, summary="Runs")
async def list_runs(
    *,
    database: DatabaseOf,
    instrument: Annotated[str | None, Query(max_length=200)] = None,
    unfinished: Annotated[bool, Query(description="Only what runs now.")] = False,
    after: After = 0,
    limit: Limit = 100,
) -> RunPage:
    """Return runs in the order in which they began."""
    return await database.read(_page, instrument, after, limit, unfinished=unfinished)


def _page(
    connection: Connection, instrument: str | None, after: int, limit: int, *, unfinished: bool
) -> RunPage:
    if unfinished:
        found = [one for one in running(connection) if one.number > after]
        found = [one for one in found if instrument in (None, one.instrument)]
    else:
        found = runs_after(connection, after=after, instrument=instrument, limit=limit + 1)
    return RunPage(
        items=[_body(connection, one) for one in found[:limit]],
        next=found[limit - 1].number if len(found) > limit else None,
    )


@reads(router, "/runs/{number}", response_model=RunBody, summary="One run")
async def get_run(number: Identifier, database: DatabaseOf) -> RunBody:
    """Return a run with its warnings, what people said of it, and its results."""
    return await database.read(_one, number)


def _one(connection: Connection, number: int) -> RunBody:
    return _body(connection, acts.known_run(connection, number))


def _body(connection: Connection, one: Run) -> RunBody:
    return RunBody(
        number=one.number,
        instrument=one.instrument,
        begun_at=rfc3339(one.started_at_us),
        ended_at=None if one.ended_at_us is None else rfc3339(one.ended_at_us),
        state=one.how or "running",
        sample=code_of(connection, one.sample_id),
        item=one.item_id,
        method=code_of(connection, one.method_id),
        method_version=one.method_version,
        rejected=acts.is_rejected(connection, one.number),
        warnings=[_warning(warning) for warning in run_warnings(connection, one.number)],
        notes=[_note(said, actor, at_us) for said, actor, at_us in noted(connection, one.number)],
        results=results_of_run(connection, one.number),
    )


def _warning(one: RunWarning) -> RunWarningBody:
    return RunWarningBody(number=one.number, at=rfc3339(one.at_us), code=one.code, **from_text(one.evidence))


def _note(one: RunNote, actor: str, at_us: int) -> RunNoteBody:
    return RunNoteBody(number=one.number, kind=one.kind, text=one.text, actor=actor, at=rfc3339(at_us))


@reads(router, "/runs/{number}/curve", response_model=CurveBody, summary="Its curve so far")
async def get_curve(number: Identifier, database: DatabaseOf, after: After = 0) -> CurveBody:
    """Return the points of a run so far, of those after a ledger number if one is given."""
    return await database.read(_curve, number, after)


def _curve(connection: Connection, number: int, after: int) -> CurveBody:
    run = acts.known_run(connection, number)
    points = points_of_run(connection, run)
    return CurveBody(
        run=number,
        state=run.how or "running",
        points=[_point(one) for one in points if one.number > after],
    )


def _point(one: CurvePoint) -> CurvePointBody:
    return CurvePointBody(
        number=one.number,
        ordinal=one.ordinal,
        at=rfc3339(one.at_us),
        volume_ml=one.volume_ml,
        quantity=one.signal_quantity,
        value=one.signal,
        unit=one.signal_unit,
        temperature_c=one.temperature_c,
        elapsed_s=one.elapsed_s,
    )


@reads(router, "/runs/{number}/end-point", response_model=EndPointBody, summary="Another end point")
async def get_end_point(
    number: Identifier, database: DatabaseOf, method: Annotated[str, Query(max_length=40)]
) -> EndPointBody:
    """Return what the stored curve gives by a method; nothing is written."""
    return await database.read(_end_point, number, method)


def _end_point(connection: Connection, number: int, method: str) -> EndPointBody:
    found: FromCurve = from_curve(connection, number, method)
    return EndPointBody(
        run=number,
        method=method,
        volume_ml=found.end_point.volume_ml,
        low_ml=found.end_point.low_ml,
        high_ml=found.end_point.high_ml,
        found_by=str(found.end_point.method),
        value=found.evaluated.value,
        uncertainty=found.evaluated.uncertainty,
        unit=unit_of(found),
        formula=found.evaluated.formula,
        inputs=dict(found.evaluated.inputs),
    )


@writes(
    router,
    "POST",
    "/runs/{number}/results",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Enter a result from its curve",
)
async def add_result(number: Identifier, body: FromCurveBody, desk: DeskOf) -> Any:
    """Enter the result at another end point, worked out from the stored curve; the original stays."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"id": make_from_curve(tx, by, number, body.method)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@writes(
    router,
    "POST",
    "/runs/{number}/notes",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Write a note",
)
async def add_note(number: Identifier, body: NoteBody, desk: DeskOf) -> Any:
    """Write a note on a run."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"id": acts.note(tx, by, number, body.text)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


def _with(act: Any, number: int) -> Work:
    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"id": act(tx, by, number)}

    return work


@writes(router, "POST", "/runs/{number}/reject", response_model=MadeAnswer, summary="Reject a run")
async def reject(number: Identifier, body: RunReasonBody, desk: DeskOf) -> Any:
    """Keep what a run gave from use; it stays readable, and a reason is wanted."""
    return await desk.act(_with(acts.reject, number), reason=body.reason)


@writes(router, "POST", "/runs/{number}/take-back", response_model=MadeAnswer, summary="Take that back")
async def take_back(number: Identifier, body: RunReasonBody, desk: DeskOf) -> Any:
    """Take the rejection of a run back; a reason is wanted."""
    return await desk.act(_with(acts.take_back, number), reason=body.reason)


@writes(router, "POST", "/runs/{number}/abort", response_model=MadeAnswer, summary="It was stopped")
async def abort(number: Identifier, body: RunReasonBody, desk: DeskOf) -> Any:
    """Enter that a run was stopped at the bench; nothing is sent to the instrument."""
    return await desk.act(_with(acts.abort, number), reason=body.reason)

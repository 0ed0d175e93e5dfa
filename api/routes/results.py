"""Results with their standing; typed results; release and rejection."""

from dataclasses import replace
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.desk import DeskOf
from api.parameters import After, Identifier, Limit, Moment
from api.problems import not_found
from api.reason_bodies import reason_bodies
from api.routing import reads, writes
from api.schemas.bench import (
    DoneAnswer,
    MadeAnswer,
    PartBody,
    ReleaseBody,
    ResultBody,
    ResultPage,
    TypedResultBody,
)
from api.times import rfc3339
from bench import results as acts
from bench.actor import Actor
from bench.canonical_json import from_text
from bench.control_records import HOUR_US
from bench.kinds.cellar import Lot, Sample
from bench.kinds.laboratory import Method
from bench.parts import parts_of
from bench.records import by_id, find, find_usable
from bench.refused import Fault, MalformedError
from bench.results import Measured
from bench.standing import stored_causes
from storage import queries
from storage.queries.readings import reading_versions
from storage.queries.records import records_naming
from storage.queries.result_statements import ResultFilter
from storage.queries.results import (
    CurrentResult,
    history_of_result,
    results_after,
    results_by_id,
    sources_of_result,
)
from storage.queries.trays import tie_history
from storage.transaction import Transaction

router = APIRouter(tags=["results"])
Code = Annotated[str | None, Query(max_length=40)]


@reads(router, "/results", response_model=ResultPage, summary="Results as they stand now")
async def list_results(
    *,
    database: DatabaseOf,
    sample: Code = None,
    lot: Code = None,
    method: Code = None,
    quantity: Annotated[str | None, Query(max_length=40)] = None,
    instrument: Annotated[str | None, Query(max_length=200)] = None,
    begin: Annotated[Moment | None, Query(alias="from")] = None,
    end: Annotated[Moment | None, Query(alias="to")] = None,
    after: After = 0,
    limit: Limit = 100,
) -> ResultPage:
    """Return results in the order in which they were made, each with its standing and its mark."""
    wanted = {"sample": sample, "lot": lot, "method": method}
    plain = ResultFilter(quantity=quantity, instrument=instrument, from_us=begin, to_us=end)
    return await database.read(_page, wanted, plain, after, limit)


def _page(
    connection: Connection, named: dict[str, str | None], plain: ResultFilter, after: int, limit: int
) -> ResultPage:
    wanted = _with_records(connection, named, plain)
    found = results_after(connection, wanted, after=after, limit=limit + 1)
    return ResultPage(
        items=[result_body(connection, one) for one in found[:limit]],
        next=found[limit - 1].result_id if len(found) > limit else None,
        head=queries.head(connection),
    )


def _with_records(connection: Connection, named: dict[str, str | None], plain: ResultFilter) -> ResultFilter:
    samples: tuple[int, ...] | None = None
    if (lot := named["lot"]) is not None:
        lot_id = find(connection, Lot, lot).record_id
        samples = tuple(one.record_id for one in records_naming(connection, lot_id, "lot", "sample"))
    if (sample := named["sample"]) is not None:
        samples = (find(connection, Sample, sample).record_id,)
    method = named["method"]
    method_id = None if method is None else find(connection, Method, method).record_id
    return replace(plain, sample_ids=samples, method_id=method_id)


@reads(router, "/results/{result_id}", response_model=ResultBody, summary="One result")
async def get_result(result_id: Identifier, database: DatabaseOf) -> ResultBody:
    """Return a result as it stands now."""
    return await database.read(_one, result_id)


def _one(connection: Connection, result_id: int) -> ResultBody:
    return result_body(connection, _found(connection, result_id))


def _found(connection: Connection, result_id: int) -> CurrentResult:
    found = results_by_id(connection, [result_id])
    if not found:
        raise not_found(f"there is no result {result_id}")
    return found[0]


@reads(router, "/results/{result_id}/history", response_model=dict[str, Any], summary="What was done to it")
async def get_history(result_id: Identifier, database: DatabaseOf) -> dict[str, Any]:
    """Return everything that was done to a result, oldest first, and what each version stood on."""
    return await database.read(_history, result_id)


def _history(connection: Connection, result_id: int) -> dict[str, Any]:
    of = _found(connection, result_id)
    return {
        "items": [
            {
                "number": one.number,
                "what": one.what,
                "actor": one.actor,
                "at": rfc3339(one.at_us),
                "reason": one.reason,
            }
            for one in history_of_result(connection, result_id)
        ],
        "stood_on": [
            {"role": one.role, "source": one.source, "id": one.source_id, "version": one.source_version}
            for one in sources_of_result(connection, result_id, of.version)
            or sources_of_result(connection, result_id, 1)
        ],
    }


@writes(
    router,
    "POST",
    "/results",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Enter a typed result",
)
async def add_typed_result(body: TypedResultBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Enter a value that a person read off, given twice; it is marked as typed for ever."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        now_us = services.clock_us()
        at_us = now_us if body.at is None else body.at
        if at_us > now_us:
            raise MalformedError(
                "control.future", "it cannot have been measured in the future", Fault("at", "later than now")
            )
        sample = find_usable(tx.connection, Sample, body.sample)
        measured = Measured(None, "value", at_us, body.instrument, sample.record_id)
        return {"id": acts.typed(tx, by, body.method, [body.value, body.again], measured)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@writes(router, "POST", "/releases", response_model=DoneAnswer, summary="Release results")
async def release_results(body: ReleaseBody, desk: DeskOf) -> Any:
    """Give results to readers: all of them, or none if one may not be given."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        for result_id in body.results:
            acts.release(tx, by, result_id, measured_by=measured_by(tx.connection, result_id))
        return {"done": True}

    return await desk.act(work, reason=body.reason)


def measured_by(connection: Connection, result_id: int) -> tuple[str, ...]:
    """Return the initials of those who had a hand in a result."""
    people = {one.actor for one in history_of_result(connection, result_id) if one.what == "result.made"}
    for part in sources_of_result(connection, result_id, 1):
        if part.source == "reading" and reading_versions(connection, part.source_id):
            people |= {one.actor for one in tie_history(connection, part.source_id)}
    return tuple(people)


@writes(router, "POST", "/rejections", response_model=DoneAnswer, summary="Reject results")
async def reject_results(body: ReleaseBody, desk: DeskOf) -> Any:
    """Keep results from use; their values stay readable, and a reason is wanted."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        for result_id in body.results:
            acts.reject(tx, by, result_id)
        return {"done": True}

    return await desk.act(work, reason=body.reason)


def result_body(connection: Connection, one: CurrentResult) -> ResultBody:
    """Return the body of a result, with the words of its reasons."""
    method = by_id(connection, Method, one.method_id, one.method_version)
    sample = None if one.sample_id is None else by_id(connection, Sample, one.sample_id)
    return ResultBody(
        id=one.result_id,
        version=one.version,
        revision=one.revision,
        sample=None if sample is None else sample.code,
        lot=None if sample is None else sample.body.lot,
        quantity=one.quantity,
        method=method.code,
        method_version=one.method_version,
        instrument=one.instrument,
        at=rfc3339(one.at_us),
        outcome=one.outcome,
        value=one.value,
        rounded=rounded(one, method.body),
        unit=one.unit,
        basis=one.basis,
        end_point=one.end_point,
        uncertainty=one.uncertainty,
        standing=one.standing,
        reasons=reason_bodies(stored_causes(one.reasons)),
        released=one.mark == "released",
        mark=one.mark,
        hand=one.hand,
        replicate_of=one.replicate_of,
        amendment=one.amendment_id,
        source=one.source,
        formula=one.formula,
        inputs=from_text(one.inputs),
        parts=[_part_body(connection, one, source.role, part) for source, part in parts_of(connection, one)],
    )


def _part_body(connection: Connection, of: CurrentResult, quantity: str, part: CurrentResult) -> PartBody:
    sample = None if part.sample_id is None else by_id(connection, Sample, part.sample_id)
    return PartBody(
        result=part.result_id,
        quantity=quantity,
        value=part.value,
        unit=part.unit,
        at=rfc3339(part.at_us),
        hours_apart=abs(of.at_us - part.at_us) / HOUR_US,
        sample=None if sample is None else sample.code,
        standing=part.standing,
    )


def rounded(one: CurrentResult, method: Method) -> str | None:
    """Return a value as people read it; below the reporting limit it is told as less than that."""
    if one.value is None:
        return None
    if method.reporting_limit is not None and one.value < method.reporting_limit:
        return f"<{method.reporting_limit:g}"
    return f"{one.value:.{method.decimals}f}"

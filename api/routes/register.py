"""Other laboratories, recall lists, the equipment register, uncertainty budgets."""

from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.desk import DeskOf
from api.parameters import After, Identifier, Limit, Moment
from api.routes.results import result_body
from api.routes.trays import code_of
from api.routing import reads, writes
from api.schemas.register import (
    BudgetBody,
    ComparisonBody,
    NumbersAnswer,
    OutsideBody,
    OutsideEntryBody,
    OutsidePage,
    PairBody,
    PartChangeBody,
    RecallBody,
    RecalledBody,
    ServiceBody,
    ServiceEntryBody,
    ServiceList,
    ShareBody,
    VersionAnswer,
)
from api.times import rfc3339
from bench import equipment, outside
from bench.actor import Actor
from bench.budgets import budget_of
from bench.outside import Comparison, Pair, Theirs, resolved
from bench.recall import recall
from storage.queries.outside import OutsideResult, outside_results
from storage.transaction import Transaction

router = APIRouter(tags=["register"])
Name = Annotated[str | None, Query(max_length=200)]


@writes(
    router,
    "POST",
    "/outside-results",
    response_model=NumbersAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Enter what another laboratory found",
)
async def add_outside(body: OutsideEntryBody, desk: DeskOf) -> Any:
    """Enter numbers under the names that the other laboratory used: all of them, or none."""
    theirs = [
        Theirs(one.name, one.at, one.quantity, one.value, one.unit, one.uncertainty, one.method)
        for one in body.items
    ]

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"items": outside.enter(tx, by, body.source, theirs)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@reads(router, "/outside-results", response_model=OutsidePage, summary="What other laboratories found")
async def list_outside(
    *,
    database: DatabaseOf,
    source: Name = None,
    name: Name = None,
    quantity: Name = None,
    unknown: Annotated[bool, Query(description="Only names that nobody has explained.")] = False,
    after: After = 0,
    limit: Limit = 100,
) -> OutsidePage:
    """Return numbers of other laboratories, kept apart by their source."""
    wanted = {"source": source, "alias": name, "quantity": quantity}
    return await database.read(_page, wanted, after, limit, unknown=unknown)


def _page(
    connection: Connection, wanted: dict[str, str | None], after: int, limit: int, *, unknown: bool
) -> OutsidePage:
    found = outside_results(connection, **wanted, after=after, limit=limit + 1)
    bodies = [_outside(connection, one) for one in found[:limit]]
    return OutsidePage(
        items=[one for one in bodies if not unknown or not one.known],
        next=found[limit - 1].number if len(found) > limit else None,
    )


def _outside(connection: Connection, one: OutsideResult) -> OutsideBody:
    whose = resolved(connection, one)
    return OutsideBody(
        number=one.number,
        source=one.source,
        name=one.alias,
        lot=code_of(connection, whose.lot_id),
        sample=code_of(connection, whose.sample_id),
        known=whose.is_known,
        at=rfc3339(one.at_us),
        quantity=one.quantity,
        outcome=one.outcome,
        value=one.value,
        figure=one.value_numeral,
        unit=one.unit,
        uncertainty=one.uncertainty,
        method=one.method,
        actor=one.actor,
    )


@reads(router, "/outside-results/bias", response_model=ComparisonBody, summary="Ours against theirs")
async def get_bias(
    *,
    database: DatabaseOf,
    source: Annotated[str, Query(max_length=200)],
    quantity: Annotated[str, Query(max_length=40)],
    within_d: Annotated[float, Query(gt=0, le=365, description="How far apart in time. [d]")] = 3.0,
) -> ComparisonBody:
    """Return each number of theirs beside the nearest of ours, and the bias with its interval."""

    def work(connection: Connection) -> ComparisonBody:
        found = outside.compared(connection, source, quantity, within_d=within_d)
        return _comparison(connection, source, quantity, found)

    return await database.read(work)


def _comparison(connection: Connection, source: str, quantity: str, found: Comparison) -> ComparisonBody:
    bias = found.bias
    return ComparisonBody(
        source=source,
        quantity=quantity,
        pairs=[_pair(connection, one) for one in found.pairs],
        bias=None if bias is None else bias.bias,
        low=None if bias is None else bias.low,
        high=None if bias is None else bias.high,
        significant=None if bias is None else bias.is_significant,
        why=found.why,
    )


def _pair(connection: Connection, one: Pair) -> PairBody:
    return PairBody(
        theirs=_outside(connection, one.theirs),
        result=one.ours.result_id,
        ours=one.ours.value or 0.0,
        difference=one.difference,
        zeta=None if one.zeta is None else one.zeta.value,
        zeta_says=None if one.zeta is None else one.zeta.performance.value,
    )


@reads(router, "/reagents/{code}/recall", response_model=RecallBody, summary="What stood on a bottle")
async def get_recall(
    *,
    code: str,
    database: DatabaseOf,
    begin: Annotated[Moment | None, Query(alias="from")] = None,
    end: Annotated[Moment | None, Query(alias="to")] = None,
) -> RecallBody:
    """Return every result that stood on a titrant, reagent, buffer, standard or control material, and how."""

    def work(connection: Connection) -> RecallBody:
        found = recall(connection, code, from_us=begin, to_us=end)
        return RecallBody(
            reagent=code,
            control_records=[one.number for one in found.records],
            items=[
                RecalledBody(ways=list(one.ways), result=result_body(connection, one.of))
                for one in found.results
            ],
        )

    return await database.read(work)


@writes(
    router,
    "POST",
    "/equipment/{code}/services",
    response_model=VersionAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Enter a service",
)
async def add_service(code: str, body: ServiceEntryBody, desk: DeskOf) -> Any:
    """Enter a service or a change of parts; the record of the instrument gets its next version."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        version = equipment.serve(
            tx,
            by,
            code,
            what=body.what,
            parts=body.parts,
            at_us=by.at_us if body.at is None else body.at,
            next_due=None if body.next_due is None else _moment(body.next_due),
        )
        return {"version": version}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


def _moment(at_us: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us)


@reads(router, "/equipment/{code}/services", response_model=ServiceList, summary="What was done to it")
async def list_services(code: str, database: DatabaseOf) -> ServiceList:
    """Return the services and changes of parts of an instrument, oldest first."""
    found = await database.read(equipment.services_of, code)
    return ServiceList(
        instrument=code,
        items=[
            ServiceBody(
                version=one.version,
                at=rfc3339(one.at_us),
                what=one.what,
                parts=[
                    PartChangeBody(part=part.part, before=part.before, after=part.after) for part in one.parts
                ],
                next_due=None if one.next_due is None else rfc3339(round(one.next_due.timestamp() * 1e6)),
                actor=one.actor,
                reason=one.reason,
            )
            for one in found
        ],
    )


@reads(router, "/results/{result_id}/budget", response_model=BudgetBody, summary="Its uncertainty")
async def get_budget(result_id: Identifier, database: DatabaseOf) -> BudgetBody:
    """Return the standard uncertainty of a result and what each input adds to it."""
    found = await database.read(budget_of, result_id)
    return BudgetBody(
        result=found.of.result_id,
        value=found.of.value,
        unit=found.of.unit,
        uncertainty=found.uncertainty,
        expanded=None if found.uncertainty is None else 2 * found.uncertainty,
        by=found.by,
        items=[
            ShareBody(
                input=one.name,
                value=one.value,
                unit=one.unit,
                uncertainty=one.uncertainty,
                contribution=one.contribution,
                share=one.share,
            )
            for one in found.shares
        ],
    )

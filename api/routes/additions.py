"""Additions: planned, weighed, done, cancelled; what was found after them; the water they brought."""

from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.desk import DeskOf
from api.parameters import After, Identifier, Limit
from api.reason_bodies import reason_bodies
from api.routes.lots import CAUTION, binding_body
from api.routes.trays import code_of
from api.routing import reads, writes
from api.schemas.additions import (
    AdditionBody,
    AdditionPage,
    DoneBody,
    FoundBody,
    LotBindingBody,
    PlanBody,
    RetestBody,
    StepBody,
    WaterBody,
    WeighingBody,
)
from api.schemas.bench import MadeAnswer
from api.times import rfc3339
from bench import additions as acts
from bench.actor import Actor
from bench.addition_plan import Asked
from bench.additions_found import Found, Retest, binding_of, findings, found_of, retest_of
from bench.canonical_json import from_text
from bench.kinds.cellar import Lot
from bench.reasons import Cause
from bench.records import find
from bench.water import water_of_lot
from storage.queries.cellar import Addition, additions
from storage.transaction import Transaction

router = APIRouter(tags=["additions"])


@writes(
    router,
    "POST",
    "/additions",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Plan an addition",
)
async def plan_addition(body: PlanBody, desk: DeskOf) -> Any:
    """Plan an addition of SO2 from the latest results; the same one again within hours asks first."""
    asked = Asked(
        lot=body.lot,
        substance=body.substance,
        target_free_mg_l=body.target_free_mg_l,
        dose_mg_l=body.dose_mg_l,
        vessel=body.vessel,
        volume_l=body.volume_l,
        volume_u_share=body.volume_u_share,
        step_g=body.step_g,
        water_ml=body.water_ml,
        limit_mg_l=body.limit_mg_l,
        constants=body.constants,
    )

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"id": acts.plan(tx, by, asked, confirmed=body.confirmed)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@writes(
    router,
    "POST",
    "/additions/{number}/weighings",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Tie the mass",
)
async def weigh(number: Identifier, body: WeighingBody, desk: DeskOf) -> Any:
    """Tie the mass that a balance showed to an addition, or enter one that was read off, twice."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        if body.reading is not None:
            return {"id": acts.weigh(tx, by, number, body.reading)}
        typed = [mass for mass in (body.mass_g, body.again_g) if mass is not None]
        return {"id": acts.weigh_by_hand(tx, by, number, typed)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@writes(
    router,
    "POST",
    "/additions/{number}/done",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="It went in",
)
async def done(number: Identifier, body: DoneBody, desk: DeskOf) -> Any:
    """Enter that the weighed mass went in; a retest is due from then on."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        made = acts.done(
            tx,
            by,
            number,
            by.at_us if body.at is None else body.at,
            water_ml=body.water_ml,
            confirmed=body.confirmed,
            settles_d=(body.not_before_d, body.by_d),
        )
        return {"id": made}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@writes(
    router,
    "POST",
    "/additions/{number}/cancel",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="It is not made",
)
async def cancel(number: Identifier, body: WeighingBody, desk: DeskOf) -> Any:
    """Cancel a planned addition; a reason is wanted."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"id": acts.cancel(tx, by, number)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@reads(router, "/additions", response_model=AdditionPage, summary="Additions")
async def list_additions(
    *,
    database: DatabaseOf,
    services: ServicesOf,
    lot: Annotated[str | None, Query(max_length=40)] = None,
    after: After = 0,
    limit: Limit = 100,
) -> AdditionPage:
    """Return additions in the order in which they were planned."""
    return await database.read(_page, lot, after, limit, services.clock_us())


def _page(connection: Connection, lot: str | None, after: int, limit: int, now_us: int) -> AdditionPage:
    lot_id = None if lot is None else find(connection, Lot, lot).record_id
    found = additions(connection, lot_id=lot_id, after=after, limit=limit + 1)
    return AdditionPage(
        items=[addition_body(connection, one, now_us) for one in found[:limit]],
        next=found[limit - 1].number if len(found) > limit else None,
    )


@reads(router, "/additions/{number}", response_model=AdditionBody, summary="One addition")
async def get_addition(number: Identifier, database: DatabaseOf, services: ServicesOf) -> AdditionBody:
    """Return an addition with its plan, what became of it, when to look again, and what was found."""
    return await database.read(_one, number, services.clock_us())


def _one(connection: Connection, number: int, now_us: int) -> AdditionBody:
    return addition_body(connection, acts.known(connection, number), now_us)


def addition_body(connection: Connection, one: Addition, now_us: int) -> AdditionBody:
    """Return the body of an addition as it stands now. [µs]"""
    plan = from_text(one.plan)
    flags = plan.pop("flags")
    found = found_of(connection, one)
    retest = retest_of(one, found, now_us)
    return AdditionBody(
        number=one.number,
        lot=code_of(connection, one.lot_id),
        vessel=code_of(connection, one.vessel_id),
        substance=code_of(connection, one.substance_id),
        state=one.state,
        planned_at=rfc3339(one.planned_at_us),
        actor=one.actor,
        reason=one.reason,
        plan=plan,
        flags=reason_bodies(Cause(flag["code"], flag["evidence"]) for flag in flags),
        steps=[
            StepBody(
                number=step.number,
                step=step.step,
                at=rfc3339(step.at_us),
                mass_g=step.mass_g,
                reading=step.reading_id,
                details=from_text(step.details),
                actor=step.actor,
                reason=step.reason,
            )
            for step in one.steps
        ],
        retest=None if retest is None else _retest_body(retest),
        found=None if found is None else found_body(found),
    )


def _retest_body(one: Retest) -> RetestBody:
    return RetestBody(
        not_before=rfc3339(one.not_before_us), by=rfc3339(one.by_us), state=one.state, result=one.result_id
    )


def found_body(one: Found) -> FoundBody:
    """Return the body of what was found after an addition."""
    return FoundBody(
        result=one.result.result_id,
        free_before_mg_l=one.predicted.free_before,
        added_mg_l=one.predicted.added,
        expected_mg_l=one.predicted.free,
        low_mg_l=one.predicted.low,
        high_mg_l=one.predicted.high,
        found_mg_l=one.result.value or 0.0,
        as_expected=one.is_as_predicted,
        bound_share=one.bound_share,
    )


@reads(router, "/lots/{code}/binding", response_model=LotBindingBody, summary="How much binds in it")
async def get_binding(code: str, database: DatabaseOf) -> LotBindingBody:
    """Return the share of an addition that binds in a lot, with what was expected and found each time."""
    return await database.read(lot_binding, code)


def lot_binding(connection: Connection, code: str) -> LotBindingBody:
    """Return the share that binds in a lot, with each time it was expected and found."""
    lot_id = find(connection, Lot, code).record_id
    return LotBindingBody(
        lot=code,
        binding=binding_body(binding_of(connection, lot_id)),
        found=[found_body(one) for one in findings(connection, lot_id)],
    )


@reads(router, "/lots/{code}/water", response_model=WaterBody, summary="The water in it")
async def get_water(
    code: str,
    database: DatabaseOf,
    allowed_share: Annotated[
        float, Query(ge=0, le=0.1, description="The default is that of 27 CFR 24.246(a)(2).")
    ] = 0.01,
) -> WaterBody:
    """Return the sum of the water that additions brought into a lot, against what is allowed."""
    return await database.read(_water, code, allowed_share)


def _water(connection: Connection, code: str, allowed_share: float) -> WaterBody:
    found = water_of_lot(connection, code, allowed_share)
    return WaterBody(
        lot=code,
        volume_l=found.volume_l,
        water_l=found.tally.water_l,
        share=found.tally.share,
        left_l=found.tally.left_l,
        allowed_share=allowed_share,
        within=found.tally.within,
        additions=list(found.additions),
        caution=CAUTION,
    )

"""Where wine went: movements, the lineage of a lot, and what a blend should measure."""

from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.desk import DeskOf
from api.parameters import After, Identifier, Limit
from api.routes.trays import code_of
from api.routing import reads, writes
from api.schemas.bench import MadeAnswer
from api.schemas.cellar import (
    AncestorBody,
    BlendBody,
    BlendValueBody,
    LineageBody,
    LotVolumeBody,
    MovementBody,
    MovementPage,
    NewMovementBody,
    PartOfMovementBody,
    VesselContentsBody,
    VesselShareBody,
)
from api.times import rfc3339
from bench import movements as acts
from bench.actor import Actor
from bench.blends import BlendValue, blend_values
from bench.kinds.cellar import Lot
from bench.movements import NewMovement, NewPart
from bench.records import find
from bench.refused import NotThereError
from bench.volumes import contents_of_vessel, volume_of_lot
from storage.queries.cellar import Movement, movement_by_number, movements, movements_of_lot
from storage.transaction import Transaction

router = APIRouter(tags=["movements"])


@writes(
    router,
    "POST",
    "/movements",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Enter a movement",
)
async def add_movement(body: NewMovementBody, desk: DeskOf) -> Any:
    """Enter that wine was filled, racked, blended, topped, bottled or lost."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        at_us = by.at_us if body.at is None else body.at
        parts = tuple(NewPart(part.volume_l, part.lot, part.vessel) for part in body.parts)
        new = NewMovement(body.kind, at_us, body.to_lot, parts, body.to_vessel, body.note)
        return {"id": acts.move(tx, by, new)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@reads(router, "/movements", response_model=MovementPage, summary="Movements")
async def list_movements(
    *,
    database: DatabaseOf,
    lot: Annotated[str | None, Query(max_length=40, description="Only into or out of this lot.")] = None,
    after: After = 0,
    limit: Limit = 100,
) -> MovementPage:
    """Return movements in the order in which they were entered."""
    return await database.read(_page, lot, after, limit)


def _page(connection: Connection, lot: str | None, after: int, limit: int) -> MovementPage:
    if lot is None:
        found = movements(connection, after=after, limit=limit + 1)
    else:
        of_lot = movements_of_lot(connection, find(connection, Lot, lot).record_id)
        found = sorted((one for one in of_lot if one.number > after), key=lambda one: one.number)
    return MovementPage(
        items=[_body(connection, one) for one in found[:limit]],
        next=found[limit - 1].number if len(found) > limit else None,
    )


@reads(router, "/movements/{number}", response_model=BlendBody, summary="One movement and its blend")
async def get_movement(
    number: Identifier,
    database: DatabaseOf,
    quantity: Annotated[str | None, Query(max_length=40, description="Only this quantity.")] = None,
) -> BlendBody:
    """Return a movement, and what its parts should measure together beside what was measured after it."""
    return await database.read(_blend, number, quantity)


def _blend(connection: Connection, number: int, quantity: str | None) -> BlendBody:
    found = movement_by_number(connection, number)
    if found is None:
        raise NotThereError("movement.unknown", f"there is no movement {number}")
    values = [_value_body(one) for one in blend_values(connection, found, quantity)]
    return BlendBody(movement=_body(connection, found), values=values)


def _value_body(one: BlendValue) -> BlendValueBody:
    measured, expected = one.measured, one.expected
    return BlendValueBody(
        quantity=one.quantity,
        unit=one.unit,
        expected=None if expected is None else expected.value,
        expected_uncertainty=None if expected is None else expected.u,
        from_results=list(one.from_results),
        wanting=list(one.wanting),
        measured=None if measured is None else measured.value,
        measured_result=None if measured is None else measured.result_id,
        measured_at=None if measured is None else rfc3339(measured.at_us),
        difference=one.difference,
        remark="" if expected is None else expected.remark,
    )


@reads(router, "/lots/{code}/lineage", response_model=LineageBody, summary="Where it came from")
async def get_lineage(code: str, database: DatabaseOf) -> LineageBody:
    """Return the movements that a lot came from, nearest first, and those that took wine of it elsewhere."""
    return await database.read(_lineage, code)


def _lineage(connection: Connection, code: str) -> LineageBody:
    lot_id = find(connection, Lot, code).record_id
    return LineageBody(
        lot=code,
        came_from=[
            AncestorBody(depth=one.depth, movement=_body(connection, one.movement))
            for one in acts.lineage(connection, lot_id)
        ],
        went_into=[_body(connection, one) for one in acts.went_into(connection, lot_id)],
    )


@reads(router, "/lots/{code}/volume", response_model=LotVolumeBody, summary="How much wine it is")
async def get_volume(code: str, database: DatabaseOf, services: ServicesOf) -> LotVolumeBody:
    """Return the volume of a lot as it was entered, and as it is expected after the movements since."""
    return await database.read(lot_volume, code, services.clock_us())


def lot_volume(connection: Connection, code: str, now_us: int) -> LotVolumeBody:
    """Return the volume of a lot. [µs]"""
    found = volume_of_lot(connection, find(connection, Lot, code).record_id)
    entered = found.entered
    return LotVolumeBody(
        lot=code,
        entered_l=None if entered is None else entered.volume_l,
        entered_at=None if entered is None else rfc3339(entered.at_us),
        entered_by=None if entered is None else entered.actor,
        in_l=found.in_l,
        out_l=found.out_l,
        expected_l=found.expected_l,
        movements=list(found.movements),
        words=found.in_words(now_us),
    )


@reads(router, "/vessels/{code}/contents", response_model=VesselContentsBody, summary="What it should hold")
async def get_contents(code: str, database: DatabaseOf) -> VesselContentsBody:
    """Return what a vessel should hold of each lot by its movements, and what about them cannot be."""
    return await database.read(_contents, code)


def _contents(connection: Connection, code: str) -> VesselContentsBody:
    found = contents_of_vessel(connection, code)
    return VesselContentsBody(
        vessel=code,
        capacity_l=found.vessel.body.capacity_l,
        expected_l=found.expected_l,
        lots=[
            VesselShareBody(lot=code_of(connection, one.lot_id), volume_l=one.volume_l)
            for one in found.shares
        ],
        movements=list(found.movements),
        remark=found.remark,
    )


def _body(connection: Connection, one: Movement) -> MovementBody:
    return MovementBody(
        number=one.number,
        kind=one.kind,
        at=rfc3339(one.at_us),
        to_lot=code_of(connection, one.to_lot_id),
        to_vessel=code_of(connection, one.to_vessel_id),
        volume_l=one.volume_l,
        parts=[
            PartOfMovementBody(
                volume_l=part.volume_l,
                lot=code_of(connection, part.from_lot_id),
                vessel=code_of(connection, part.from_vessel_id),
            )
            for part in one.parts
        ],
        note=one.note,
        actor=one.actor,
    )

"""Trays, what stands on an instrument, and the ties of readings to samples."""

from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.desk import DeskOf
from api.parameters import Identifier
from api.problems import bad_parameter
from api.routing import reads, writes
from api.schemas.bench import (
    DoneAnswer,
    ItemBody,
    ItemChangeBody,
    ItemsAnswer,
    OnBody,
    PutBody,
    ReassignBody,
    SetOnBody,
    SwapBody,
    TieBody,
    TieHistoryBody,
    TrayBody,
)
from api.times import rfc3339
from bench import retying, tray
from bench.actor import Actor
from bench.tray import NewItem, tests_of
from storage.queries.records import record_by_id
from storage.queries.trays import TrayItem, on_instrument_at, tie_history, tray_items
from storage.transaction import Transaction

router = APIRouter(tags=["trays"])
DONE = {"done": True}


def code_of(connection: Connection, record_id: int | None) -> str | None:
    """Return the code of a record."""
    found = None if record_id is None else record_by_id(connection, record_id)
    return None if found is None else found.code


def _item(connection: Connection, one: TrayItem) -> ItemBody:
    return ItemBody(
        id=one.item_id,
        version=one.version,
        number=one.number,
        kind=one.kind,
        sample=code_of(connection, one.sample_id),
        standard=code_of(connection, one.standard_id),
        tests=list(tests_of(one)),
        state=one.state,
    )


def _tray(connection: Connection, instrument: str) -> TrayBody:
    on = on_instrument_at(connection, instrument)
    items = [one for one in tray_items(connection, instrument) if one.state != "removed"]
    return TrayBody(
        instrument=instrument,
        on=None
        if on is None
        else OnBody(
            since=rfc3339(on.at_us),
            item=on.item_id,
            sample=code_of(connection, on.sample_id),
            set_by=on.set_by,
        ),
        items=[_item(connection, one) for one in items],
    )


@reads(router, "/trays/{instrument}", response_model=TrayBody, summary="The tray of an instrument")
async def get_tray(instrument: str, database: DatabaseOf) -> TrayBody:
    """Return what is on a tray, in its order; an instrument that never had one has an empty tray."""
    return await database.read(_tray, instrument)


@writes(
    router,
    "POST",
    "/trays/{instrument}/items",
    response_model=ItemsAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Put items on a tray",
)
async def put_items(instrument: str, body: PutBody, desk: DeskOf) -> Any:
    """Put samples, duplicates, standards, checks, buffers and blanks at the end of a tray."""
    items = [NewItem(one.kind, one.sample, one.standard, tuple(one.tests)) for one in body.items]

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"items": tray.put(tx, by, instrument, items)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@writes(router, "PUT", "/tray-items/{item}", response_model=DoneAnswer, summary="Move, remove or ask anew")
async def change_item(item: Identifier, body: ItemChangeBody, desk: DeskOf) -> Any:
    """Change one place of a tray; whoever changed it meanwhile is not overwritten."""
    if [body.remove, body.before is not None, body.tests is not None].count(True) != 1:
        raise bad_parameter("remove", "give one of remove, before and tests", HTTPStatus.UNPROCESSABLE_ENTITY)

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        if body.remove:
            tray.remove(tx, by, item, body.version)
        elif body.tests is not None:
            tray.ask(tx, by, item, body.version, body.tests)
        else:
            tray.move(tx, by, item, body.version, before=body.before or None)
        return DONE

    return await desk.act(work, reason=body.reason)


@writes(router, "POST", "/trays/{instrument}/on", response_model=DoneAnswer, summary="Say what stands on it")
async def set_on(instrument: str, body: SetOnBody, desk: DeskOf) -> Any:
    """Say what stands on the instrument from now on: an item of its tray, a sample, or nothing."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        if body.item is not None:
            tray.set_on_item(tx, by, instrument, body.item, body.set_by)
        elif body.sample is not None:
            tray.set_on_sample(tx, by, instrument, body.sample, body.set_by)
        else:
            tray.clear(tx, by, instrument, body.set_by)
        return DONE

    return await desk.act(work)


@writes(router, "POST", "/ties", response_model=DoneAnswer, summary="Tie readings to a sample, or to none")
async def tie_readings(body: TieBody, desk: DeskOf) -> Any:
    """Bind readings to a sample by hand; without a sample they are taken off theirs, which needs a reason."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        if body.sample is None:
            retying.untie(tx, by, body.readings)
        else:
            retying.tie(tx, by, body.readings, body.sample)
        return DONE

    return await desk.act(work, reason=body.reason)


@writes(
    router, "POST", "/ties/swap", response_model=DoneAnswer, summary="Exchange what two readings belong to"
)
async def swap_ties(body: SwapBody, desk: DeskOf) -> Any:
    """Exchange the samples of two readings; a reason is wanted."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        retying.swap(tx, by, *body.readings)
        return DONE

    return await desk.act(work, reason=body.reason)


@writes(router, "POST", "/ties/reassign", response_model=DoneAnswer, summary="Put a shifted tray right")
async def reassign_ties(body: ReassignBody, desk: DeskOf) -> Any:
    """Give several readings their right samples in one act; a reason is wanted."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        retying.reassign(tx, by, body.samples)
        return DONE

    return await desk.act(work, reason=body.reason)


@reads(router, "/readings/{reading_id}/ties", response_model=TieHistoryBody, summary="Ties of a reading")
async def get_ties(reading_id: Identifier, database: DatabaseOf) -> TieHistoryBody:
    """Return every tie of a reading, oldest first, with who made it and why."""
    return await database.read(ties_body, reading_id)


def ties_body(connection: Connection, reading_id: int) -> TieHistoryBody:
    """Return every tie of a reading, oldest first."""
    return TieHistoryBody(
        items=[
            {
                "number": one.tie.number,
                "sample": code_of(connection, one.tie.sample_id),
                "item": one.tie.item_id,
                "how": one.tie.how,
                "conflict": one.tie.conflict,
                "actor": one.actor,
                "at": rfc3339(one.at_us),
                "reason": one.reason,
            }
            for one in tie_history(connection, reading_id)
        ]
    )

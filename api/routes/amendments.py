"""The what-if sheet: suppose another factor or aliquot, look at what would change, apply it, take it back."""

from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.desk import DeskOf, Work
from api.left_to_judge import judge_what_is_left
from api.parameters import Identifier
from api.problems import not_found
from api.routing import reads, writes
from api.schemas.amendments import (
    AmendmentBody,
    ApplyBody,
    DecisionChangeBody,
    PreviewBody,
    SupposeBody,
    SupposedBody,
    UndoBody,
    what_if,
)
from api.schemas.bench import DoneAnswer
from bench import amendments
from bench.actor import Actor
from bench.amendments import PIECE, Supposed, WhatIf
from bench.decisions import Decider
from bench.left_to_judge import Extent, judge_newest
from bench.refused import RefusedError
from storage.transaction import Transaction

router = APIRouter(tags=["amendments"])


@writes(router, "POST", "/what-if", response_model=PreviewBody, summary="What would change")
async def preview(body: SupposeBody, database: DatabaseOf) -> PreviewBody:
    """Return every result that a supposition changes, old beside new; nothing is written."""
    return await database.read(_preview, what_if(body))


def _preview(connection: Connection, what: WhatIf) -> PreviewBody:
    decider = Decider(connection)
    return PreviewBody(
        items=[
            SupposedBody(
                result=one.of.result_id,
                old=one.of.value,
                new=one.value,
                unit=one.of.unit,
                change=None if one.of.value is None else one.value - one.of.value,
                decisions=[
                    DecisionChangeBody(**change._asdict()) for change in decider.changes(one.of, one.value)
                ],
            )
            for one in amendments.suppose(connection, what)
        ]
    )


def _supposed(connection: Connection, what: WhatIf) -> list[Supposed]:
    return list(amendments.suppose(connection, what))


@writes(
    router,
    "POST",
    "/amendments",
    response_model=AmendmentBody,
    status_code=HTTPStatus.CREATED,
    summary="Apply a supposition",
)
async def apply(body: ApplyBody, desk: DeskOf, database: DatabaseOf) -> Any:
    """Amend every result that a supposition changes, with one reason; the old values stay readable.

    Values are staged in pieces and made current by one row, so that hearing never waits for a large one.
    """
    what = what_if(body)
    found = await database.read(_supposed, what)
    made = await desk.act(lambda tx, by: _begin(tx, by, what, len(found)), reason=body.reason)
    if await database.read(amendments.state_of, made["id"]) is not None:
        return await database.read(_body, made["id"])  # the same request, sent again
    staged = await database.read(amendments.staged_items, made["id"])
    for start in range(staged, len(found), PIECE):
        await desk.without_key().act(_stage(made["id"], found[start : start + PIECE]))
    await desk.without_key().act(lambda tx, by: _in_force(tx, by, made["id"]), reason=body.reason)
    await judge_what_is_left(desk)
    return await database.read(_body, made["id"])


def _begin(tx: Transaction, by: Actor, what: WhatIf, expected: int) -> dict[str, Any]:
    if expected == 0:
        raise RefusedError("amendment.changes_nothing", "no result would change: look at window and titrant")
    return {"id": amendments.begin(tx, by, what, expected)}


def _stage(amendment_id: int, piece: list[Supposed]) -> Work:
    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        amendments.stage(tx, by, amendment_id, piece)
        return {}

    return work


def _in_force(tx: Transaction, by: Actor, amendment_id: int) -> dict[str, Any]:
    amendments.put_in_force(tx, by, amendment_id)
    judge_newest(tx, by, Extent(amendment_id=amendment_id))
    return {}


@reads(router, "/amendments/{number}", response_model=AmendmentBody, summary="One amendment")
async def get_amendment(number: Identifier, database: DatabaseOf) -> AmendmentBody:
    """Return the state of an amendment and the results that it changes."""
    return await database.read(_body, number)


def _body(connection: Connection, number: int) -> AmendmentBody:
    results = amendments.results_of(connection, number)
    if not results:
        raise not_found(f"there is no amendment {number}")
    state = amendments.state_of(connection, number) or "staged"
    expected = amendments.expected_items(connection, number) or 0
    return AmendmentBody(id=number, state=state, results=results, expected=expected)


@writes(router, "POST", "/amendments/{number}/undo", response_model=DoneAnswer, summary="Take it back")
async def undo(number: Identifier, body: UndoBody, desk: DeskOf) -> Any:
    """Take an amendment back: its results show what they showed before; a reason is wanted."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        amendments.undo(tx, by, number)
        judge_newest(tx, by, Extent(amendment_id=number))
        return {"done": True}

    done = await desk.act(work, reason=body.reason)
    await judge_what_is_left(desk)
    return done

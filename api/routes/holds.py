"""Holds: what is in doubt since a check failed, and the ways out."""

from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.desk import DeskOf
from api.left_to_judge import judge_what_is_left
from api.parameters import Identifier
from api.problems import not_found
from api.routing import reads, writes
from api.schemas.bench import DoneAnswer, HoldBody, HoldList, NarrowBody, SettleBody
from api.times import rfc3339
from bench import holds as acts
from bench.actor import Actor
from bench.left_to_judge import Extent, judge_newest
from storage.queries.holds import Hold, hold_by_number, hold_changes, holds
from storage.queries.results import results_in_scope
from storage.transaction import Transaction

router = APIRouter(tags=["holds"])


@reads(router, "/holds", response_model=HoldList, summary="Holds")
async def list_holds(
    *,
    database: DatabaseOf,
    unsettled: Annotated[bool, Query(description="Only what nobody settled.")] = False,
) -> HoldList:
    """Return every hold as it stands now, oldest first."""
    return await database.read(_list, unsettled=unsettled)


def _list(connection: Connection, *, unsettled: bool) -> HoldList:
    return HoldList(items=[_body(connection, one) for one in holds(connection, open_only=unsettled)])


@reads(router, "/holds/{number}", response_model=HoldBody, summary="One hold")
async def get_hold(number: Identifier, database: DatabaseOf) -> HoldBody:
    """Return a hold with the results that lie in it and what was done to it."""
    return await database.read(_one, number)


def _one(connection: Connection, number: int) -> HoldBody:
    found = hold_by_number(connection, number)
    if found is None:
        raise not_found(f"there is no hold {number}")
    return _body(connection, found)


def _inside(connection: Connection, one: Hold) -> list[int]:
    return results_in_scope(
        connection,
        from_us=one.from_us + 1,
        to_us=None if one.until_us is None else one.until_us - 1,
        instrument=one.instrument,
        method_id=one.method_id,
    )


def _body(connection: Connection, one: Hold) -> HoldBody:
    return HoldBody(
        number=one.number,
        code=one.code,
        control_record=one.control_number,
        instrument=one.instrument,
        begin=rfc3339(one.from_us),
        end=None if one.until_us is None else rfc3339(one.until_us),
        settled=one.settled,
        results=_inside(connection, one),
        history=[
            {
                "number": change.number,
                "change": change.change,
                "actor": change.actor,
                "at": rfc3339(change.at_us),
                "reason": change.reason,
            }
            for change in hold_changes(connection, one.number)
        ],
    )


@writes(router, "POST", "/holds/{number}/settle", response_model=DoneAnswer, summary="Settle a hold")
async def settle_hold(number: Identifier, body: SettleBody, desk: DeskOf) -> Any:
    """Accept, reject or repeat what lies in a hold; a reason is wanted, and the mark stays for ever."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        acts.settle(tx, by, number, body.way)
        return _judged_anew(tx, by, hold_by_number(tx.connection, number))

    done = await desk.act(work, reason=body.reason)
    await judge_what_is_left(desk)
    return done


@writes(router, "POST", "/holds/{number}/narrow", response_model=DoneAnswer, summary="Narrow a hold")
async def narrow_hold(number: Identifier, body: NarrowBody, desk: DeskOf) -> Any:
    """Confine a hold to where its cause was found; a reason is wanted."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        before = hold_by_number(tx.connection, number)
        acts.narrow(tx, by, number, body.begin, body.end)
        return _judged_anew(tx, by, before)

    done = await desk.act(work, reason=body.reason)
    await judge_what_is_left(desk)
    return done


def _judged_anew(tx: Transaction, by: Actor, of: Hold | None) -> dict[str, Any]:
    if of is not None:
        judge_newest(tx, by, _extent(of))
    return {"done": True}


def _extent(of: Hold) -> Extent:
    until_us = None if of.until_us is None else of.until_us - 1
    return Extent(of.from_us + 1, until_us, of.instrument, of.method_id)

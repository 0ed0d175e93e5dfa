"""People's pins: set one, try one, see whether one is locked.

An idempotency key has no effect here: what is kept with it would let a short pin be found by trying.
"""

import asyncio
from typing import Any

from fastapi import APIRouter

from api.dependencies import DatabaseOf, ServicesOf
from api.desk import Desk, DeskOf, problem_of
from api.routing import reads, writes
from api.schemas.bench import DoneAnswer
from api.schemas.pins import CheckPinBody, PinRightBody, PinStateBody, SetPinBody
from api.times import rfc3339
from bench.actor import Actor
from bench.people import HeldPin, held_pin, matches, prepare_pin
from bench.pins import give_pin, pin_state, settle_try, wrong_pin
from bench.refused import RefusedError
from storage.transaction import Transaction

router = APIRouter(tags=["people"])


@reads(
    router, "/people/{initials}/pin", response_model=PinStateBody, summary="Whether a pin is set or locked"
)
async def get_pin_state(initials: str, database: DatabaseOf, services: ServicesOf) -> PinStateBody:
    """Return what may be known of a pin; the pin itself is kept nowhere."""
    found = await database.read(pin_state, initials, services.clock_us())
    locked = None if found.locked_until_us is None else rfc3339(found.locked_until_us)
    return PinStateBody(is_set=found.is_set, locked_until=locked, tries_left=found.tries_left)


@writes(router, "PUT", "/people/{initials}/pin", response_model=DoneAnswer, summary="Set a pin")
async def put_pin(
    initials: str, body: SetPinBody, desk: DeskOf, database: DatabaseOf, services: ServicesOf
) -> Any:
    """Give a person a pin: the person by the old one, or a manager; a lock ends with it."""
    plain = desk.without_key()
    try:
        prepared = await asyncio.to_thread(prepare_pin, body.pin)
    except RefusedError as refused:
        raise problem_of(refused) from refused
    by_old_pin = False
    if body.old is not None:
        held = await database.read(held_pin, initials, services.clock_us())
        await _try(plain, held, body.old)
        by_old_pin = True

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        give_pin(tx, by, initials, prepared, by_old_pin=by_old_pin)
        return {"done": True}

    return await plain.act(work, reason=body.reason)


@writes(router, "POST", "/people/{initials}/pin/check", response_model=PinRightBody, summary="Try a pin")
async def check_pin(
    initials: str, body: CheckPinBody, desk: DeskOf, database: DatabaseOf, services: ServicesOf
) -> PinRightBody:
    """Tell whether it is the pin of a person; the fifth wrong one in a row locks it for some minutes."""
    held = await database.read(held_pin, initials, services.clock_us())
    await _try(desk.without_key(), held, body.pin)
    person = held.person
    return PinRightBody(person=person.code, name=person.body.name, roles=list(person.body.roles))


async def _try(desk: Desk, held: HeldPin, digits: str) -> None:
    """Compare a pin outside the writer and count the try in it; raise the problem if it is wrong."""
    is_right = await asyncio.to_thread(matches, held, digits)

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"left": settle_try(tx, by, held, is_right=is_right)}

    left = (await desk.act(work))["left"]
    if left is not None:
        raise problem_of(wrong_pin(held.person.code, left))

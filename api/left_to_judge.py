"""Who acts sees all that followed: what their act left to be judged is judged before they are answered."""

from typing import Any

from api.desk import Desk
from bench.actor import Actor
from bench.left_to_judge import judge_next, left
from storage.transaction import Transaction


async def judge_what_is_left(desk: Desk) -> None:
    """Judge piece by piece, each in a commit of its own, until nothing is left."""
    is_left = bool(await desk.database.read(left))
    while is_left:
        is_left = (await desk.without_key().act(_piece))["is_left"]


def _piece(tx: Transaction, by: Actor) -> dict[str, Any]:
    return {"is_left": judge_next(tx, by)}

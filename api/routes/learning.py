"""A driver file for an instrument that nobody knows, learnt from what was heard of it."""

from typing import Final

from fastapi import APIRouter
from sqlalchemy import Connection

from api.database import Database
from api.dependencies import DatabaseOf, ServicesOf
from api.problems import not_found
from api.routes.captures import heard_bytes
from api.routing import writes
from api.schemas.learning import LearnBody, LearntBody, learnt_body
from storage import queries

router = APIRouter(tags=["learning"])

MOST_BYTES: Final = 1_048_576
"""That are looked at, from the beginning of a capture. [bytes]"""
MOST_CAPTURES: Final = 50
"""Of a line that are looked at for one in which anything was heard."""


@writes(
    router, "POST", "/learn", response_model=LearntBody, summary="A driver file for an unknown instrument"
)
async def learn(body: LearnBody, services: ServicesOf, database: DatabaseOf) -> LearntBody:
    """Propose a driver file from a capture: made from its first half, proved on its second.

    Nothing is written. What bytes cannot tell comes as questions; ask again with the answers.
    """
    capture_id, size = await database.read(_chosen, body)
    data = await _beginning(database, capture_id, min(size, MOST_BYTES))
    return learnt_body(capture_id, len(data), await services.learner.learn(data, body.answers, body.name))


def _chosen(connection: Connection, body: LearnBody) -> tuple[int, int]:
    """Return the number of the capture that is meant, and how many bytes it holds. [bytes]"""
    if body.capture is not None:
        if queries.capture_by_number(connection, body.capture) is None:
            raise not_found(f"there is no capture {body.capture}; take ids from /api/v1/captures")
        return body.capture, queries.capture_counts(connection, body.capture).heard_bytes
    newest = queries.captures_before(connection, before=None, limit=MOST_CAPTURES, line=body.line)
    for record in newest:
        heard = queries.capture_counts(connection, record.number).heard_bytes
        if heard:
            return record.number, heard
    raise not_found(f"nothing was heard on a line {body.line!r}; see /api/v1/lines and /api/v1/captures")


async def _beginning(database: Database, capture_id: int, size: int) -> bytes:
    return b"".join([piece async for piece in heard_bytes(database, capture_id, size)])

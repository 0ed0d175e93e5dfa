"""Keys: made, listed and revoked. A key is shown once, in the answer that made it, and kept nowhere."""

from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.desk import DeskOf
from api.keys import Scope, add_key, key_hash, new_key, revoke_key
from api.parameters import LARGEST, Cursor, Identifier, Limit, Walk
from api.routing import reads, writes
from api.schemas.acts import ActBody
from api.schemas.keys import KeysPage, MadeKey, NewKey, RevokedKey, key_body
from bench.actor import Actor
from storage import queries
from storage.queries.keys import KeyRecord, keys_before
from storage.transaction import Transaction

router = APIRouter(tags=["keys"])


@reads(router, "/keys", scope=Scope.MANAGE, response_model=KeysPage, summary="Keys, newest first")
async def list_keys(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> KeysPage:
    """Return what is known of each key, the revoked ones too; the keys themselves are kept nowhere."""
    walk = Walk("keys", LARGEST, cursor)

    def page(connection: Connection) -> tuple[int, list[KeyRecord]]:
        return queries.head(connection), keys_before(connection, before=walk.place, limit=limit + 1)

    head, records = await database.read(page)
    last = records[limit - 1].number if len(records) > limit else None
    return KeysPage(
        items=[key_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )


@writes(
    router,
    "POST",
    "/keys",
    scope=Scope.MANAGE,
    response_model=MadeKey,
    status_code=HTTPStatus.CREATED,
    summary="Make a key",
)
async def make_key(body: NewKey, desk: DeskOf, response: Response) -> MadeKey:
    """Make a key and show it, this once.

    An idempotency key has no effect here, because no answer that holds a key is kept.
    """
    key = new_key()

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"number": add_key(tx, by, body.name, body.scope, key_hash(key))}

    made = await desk.without_key().act(work, reason=body.reason)
    response.headers["Cache-Control"] = "no-store"
    return MadeKey(number=made["number"], name=body.name, scope=body.scope, key=key)


@writes(
    router,
    "POST",
    "/keys/{number}/revoke",
    scope=Scope.MANAGE,
    response_model=RevokedKey,
    summary="Revoke a key",
)
async def revoke(number: Identifier, desk: DeskOf, body: ActBody | None = None) -> Any:
    """End a key at once and for ever."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"ledger_number": revoke_key(tx, by, number)}

    return await desk.act(work, reason=None if body is None else body.reason)

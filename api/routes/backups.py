"""Checked copies of the store: those that are known, and new ones that are told.

`tundish backup` makes a copy in a process of its own and then tells it here, because only the daemon may
write the store that it holds. A copy proves by the link of its last entry that it is one of this store.
"""

from http import HTTPStatus

from fastapi import APIRouter, Request, Response
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ManagerOf, ServicesOf, act_of
from api.keys import Scope
from api.parameters import LARGEST, Cursor, Limit, Walk
from api.problems import ParameterFault, ProblemError
from api.routing import reads, writes
from api.schemas.backups import BackupAnswer, BackupsPage, NewBackup, backup_body
from storage import queries
from storage.backup_record import ACTION
from storage.ledger import Head
from storage.queries import BackupRecord
from storage.rows import BackupRow

router = APIRouter(tags=["health"])


@reads(router, "/backups", response_model=BackupsPage, summary="Checked copies, newest first")
async def list_backups(
    *,
    request: Request,
    response: Response,
    database: DatabaseOf,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> BackupsPage:
    """Return the copies that were entered in this store; whether they are still there, it does not know."""
    walk = Walk("backups", LARGEST, cursor)

    def page(connection: Connection) -> tuple[int, list[BackupRecord]]:
        found = queries.backups_before(connection, before=walk.place, limit=limit + 1)
        return queries.head(connection), found

    head, records = await database.read(page)
    last = records[limit - 1].number if len(records) > limit else None
    return BackupsPage(
        items=[backup_body(record) for record in records[:limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )


@writes(
    router,
    "POST",
    "/backups",
    scope=Scope.MANAGE,
    response_model=BackupAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Tell of a checked copy",
)
async def add_backup(
    body: NewBackup, actor: ManagerOf, services: ServicesOf, database: DatabaseOf
) -> BackupAnswer:
    """Enter in the ledger that a checked copy was made, as `tundish backup` does after making one."""
    head = Head.parse(body.head)
    await database.read(_refuse_foreign_copy, head)
    row = BackupRow(body.file, body.made_at, head.number, head.link, body.size_bytes)
    number = await services.acts.enter(ACTION, act_of(actor, body.reason), {"backup": [row]})
    return BackupAnswer(ledger_number=number)


def _refuse_foreign_copy(connection: Connection, head: Head) -> None:
    entries = queries.ledger_after(connection, after=head.number - 1, limit=1)
    if not entries or entries[0].number != head.number or entries[0].link != head.link:
        detail = f"no entry {head.number} of this store has that link; the copy is of another store"
        fault = ParameterFault(parameter="head", location="body", detail=detail)
        raise ProblemError(HTTPStatus.CONFLICT, detail, [fault])

"""Acts of the bench over REST: run in the writer, by a named actor, once for each idempotency key."""

import asyncio
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import Depends, Header, Request
from sqlalchemy import Connection, select
from starlette.responses import Response

from api.database import Database
from api.dependencies import DatabaseOf, ManagerOf, ServicesOf
from api.problems import ParameterFault, ProblemError, problem_response
from api.services import Services
from bench.actor import Actor
from bench.refused import ForbiddenError, MalformedError, NotThereError, RefusedError
from storage.bench_rows import RequestAnswerRow
from storage.errors import SpoolFullError, WriterClosedError
from storage.ledger import ActorKind
from storage.schema import request_answer
from storage.transaction import Transaction

Answer = dict[str, Any]
Work = Callable[[Transaction, Actor], Answer]

STATUS: Final[tuple[tuple[type[RefusedError], HTTPStatus], ...]] = (
    (NotThereError, HTTPStatus.NOT_FOUND),
    (MalformedError, HTTPStatus.UNPROCESSABLE_ENTITY),
    (ForbiddenError, HTTPStatus.FORBIDDEN),
    (RefusedError, HTTPStatus.CONFLICT),
)


def problem_of(refused: RefusedError) -> ProblemError:
    """Return the problem document's content for a rule that refused."""
    status = next(status for kind, status in STATUS if isinstance(refused, kind))
    faults = [
        ParameterFault(parameter=one.field, location="body", detail=one.detail) for one in refused.faults
    ]
    return ProblemError(status, refused.detail, faults, rule=refused.rule)


async def on_refusal(request: Request, error: Exception) -> Response:
    """Answer a refusal of the bench that came while something was read."""
    assert isinstance(error, RefusedError)  # noqa: S101 - the framework calls us for this class alone
    problem = problem_of(error)
    return problem_response(
        problem.status, problem.detail, request.url.path, errors=problem.errors, rule=problem.rule
    )


@dataclass(frozen=True, slots=True)
class Desk:
    """Where one request hands in its act."""

    services: Services
    database: Database
    actor: str
    route: str
    request_key: str | None
    request_sha256: bytes

    def without_key(self) -> "Desk":
        """Return the same desk for the further steps of a request: its key belongs to the first."""
        return replace(self, request_key=None)

    async def act(
        self, work: Work, *, reason: str | None = None, status: HTTPStatus = HTTPStatus.OK
    ) -> Answer:
        """Run an act and return its answer once it is durable; the same request sent again acts once.

        Raises
        ------
        ProblemError
            If a rule refuses it, the store takes nothing now, or the key was used for another request.
        """
        health = self.services.store.writer.health()
        if not health.ok:
            raise ProblemError(HTTPStatus.SERVICE_UNAVAILABLE, f"nothing was done: {health.why}")
        by = Actor(
            self.actor,
            ActorKind.PERSON,
            self.services.clock_us(),
            (reason or "").strip() or None,
            software=f"tundish {self.services.health.report().version}",
        )
        try:
            future = self.services.store.writer.submit(lambda tx: self._once(tx, by, work, status))
            return await asyncio.wrap_future(future)
        except RefusedError as refused:
            raise problem_of(refused) from refused
        except (SpoolFullError, WriterClosedError) as error:
            raise ProblemError(HTTPStatus.SERVICE_UNAVAILABLE, f"nothing was done: {error}") from error

    def _once(self, tx: Transaction, by: Actor, work: Work, status: HTTPStatus) -> Answer:
        if self.request_key is None:
            return work(tx, by)
        if (before := self._answered(tx.connection)) is not None:
            return before
        answer = work(tx, by)
        row = RequestAnswerRow(self.request_key, self.route, self.request_sha256, status, json.dumps(answer))
        tx.enter(
            "request.answered",
            at_us=by.at_us,
            actor=by.name,
            actor_kind=by.kind,
            rows={"request_answer": [row]},
        )
        return answer

    def _answered(self, connection: Connection) -> Answer | None:
        query = select(request_answer).where(request_answer.c.request_key == self.request_key)
        found = connection.execute(query).one_or_none()
        if found is None:
            return None
        if (found.route, found.request_sha256) != (self.route, self.request_sha256):
            raise RefusedError(
                "request.key_used",
                f"the key {self.request_key!r} was used for another request: make a new one",
            )
        answer: Answer = json.loads(found.answer)
        return answer


async def _desk(
    request: Request,
    actor: ManagerOf,
    services: ServicesOf,
    database: DatabaseOf,
    idempotency_key: Annotated[
        str | None,
        Header(
            pattern=r"^[A-Za-z0-9._\-]{8,64}$",
            description="The same request sent again with the same key acts once and gets the same answer.",
        ),
    ] = None,
) -> Desk:
    digest = sha256(actor.encode() + b"\0" + await request.body()).digest()
    route = f"{request.method} {request.url.path}"
    return Desk(services, database, actor, route, idempotency_key, digest)


DeskOf = Annotated[Desk, Depends(_desk)]


def listed(items: Sequence[Mapping[str, Any]]) -> Answer:
    """Return an answer that is a list."""
    return {"items": list(items)}

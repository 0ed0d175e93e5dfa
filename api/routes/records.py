"""Lots, vessels, samples, methods, reagents and their like: one set of routes for each kind of record."""

from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.desk import DeskOf, problem_of
from api.parameters import LARGEST, Limit
from api.routing import reads, writes
from api.schemas.bench import (
    ChangedRecord,
    HistoryBody,
    NewRecord,
    RecordAnswer,
    RecordBody,
    RecordPage,
    VersionBody,
)
from api.times import rfc3339
from bench import records
from bench.actor import Actor
from bench.canonical_json import from_text
from bench.kinds.base import Body
from bench.kinds.registry import KINDS
from bench.refused import MalformedError, NotThereError
from bench.sample_codes import code as sample_code
from storage.queries.records import (
    RecordVersion,
    count_of_kind,
    record_by_code,
    record_history,
    records_of_kind,
)
from storage.transaction import Transaction

PLURALS = {
    "lot": "lots",
    "vessel": "vessels",
    "sample": "samples",
    "alias": "aliases",
    "method": "methods",
    "reagent": "reagents",
    "instrument": "equipment",
    "limit_set": "limit-sets",
    "acceptance": "acceptance",
    "person": "people",
}
"""Where each kind of record is found."""

After = Annotated[int, Query(ge=0, le=LARGEST, description="From `next` of the page before.")]

router = APIRouter()


def _body(version: RecordVersion, model: type[Body]) -> dict[str, Any]:
    return {
        "id": version.record_id,
        "code": version.code,
        "version": version.version,
        "number": version.number,
        "valid_from": rfc3339(version.valid_from_us),
        "retired": version.retired,
        "fields": records.read(version, model).body,
    }


def _newest(connection: Connection, kind: str, code: str) -> RecordVersion:
    found = record_by_code(connection, kind, code)
    if found is None:
        raise problem_of(NotThereError("record.unknown", f"there is no {kind} {code!r}"))
    return found


def _free_sample_code(connection: Connection) -> str:
    """Return a code that no sample has; people may have given codes of their own."""
    index = count_of_kind(connection, "sample")
    while record_by_code(connection, "sample", sample_code(index)) is not None:
        index += 1
    return sample_code(index)


def _json_of(given: Any) -> dict[str, Any]:
    """Return the fields of a request for a kind that is only known when the routes are laid."""
    fields: dict[str, Any] = given.fields.model_dump(mode="json")
    return fields


def _lay(kind: str, model: type[Body]) -> None:
    """Lay the routes of one kind."""
    plural, words = PLURALS[kind], kind.replace("_", " ")
    own = APIRouter(tags=[plural])

    @reads(own, f"/{plural}", response_model=RecordPage[model], summary=f"Every {words}")  # type: ignore[valid-type]
    async def list_records(database: DatabaseOf, after: After = 0, limit: Limit = 100) -> Any:
        found = await database.read(records_of_kind, kind, after=after, limit=limit + 1)
        more = found[limit - 1].record_id if len(found) > limit else None
        return {"items": [_body(one, model) for one in found[:limit]], "next": more}

    @reads(own, f"/{plural}/{{code}}", response_model=RecordBody[model], summary=f"One {words}")  # type: ignore[valid-type]
    async def get_record(code: str, database: DatabaseOf) -> Any:
        return _body(await database.read(_newest, kind, code), model)

    @reads(own, f"/{plural}/{{code}}/history", response_model=HistoryBody, summary=f"Versions of one {words}")
    async def get_history(code: str, database: DatabaseOf) -> Any:
        newest = await database.read(_newest, kind, code)
        found = await database.read(record_history, newest.record_id)
        return HistoryBody(
            items=[
                VersionBody(
                    version=one.version.version,
                    number=one.version.number,
                    valid_from=rfc3339(one.version.valid_from_us),
                    retired=one.version.retired,
                    fields=from_text(one.version.body),
                    actor=one.actor,
                    at=rfc3339(one.at_us),
                    reason=one.reason,
                )
                for one in found
            ]
        )

    @writes(
        own,
        "POST",
        f"/{plural}",
        response_model=RecordAnswer,
        status_code=HTTPStatus.CREATED,
        summary=f"Make a {words}",
    )
    async def make_record(body: NewRecord[model], desk: DeskOf, services: ServicesOf) -> Any:  # type: ignore[valid-type]
        def work(tx: Transaction, by: Actor) -> dict[str, Any]:
            code = body.code
            if code is None and kind == "sample":
                code = _free_sample_code(tx.connection)
            if code is None:
                raise MalformedError("record.code_malformed", f"a {words} needs a code")
            valid = services.clock_us() if body.valid_from is None else body.valid_from
            fields = _json_of(body)
            made = records.make(tx, by, kind, code, fields, valid_from_us=valid)
            return {"id": made, "code": code, "version": 1}

        return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)

    @writes(own, "PUT", f"/{plural}/{{code}}", response_model=RecordAnswer, summary=f"Change a {words}")
    async def change_record(
        code: str,
        body: ChangedRecord[model],  # type: ignore[valid-type]
        desk: DeskOf,
        services: ServicesOf,
    ) -> Any:
        def work(tx: Transaction, by: Actor) -> dict[str, Any]:
            version = records.revise(
                tx,
                by,
                kind,
                code,
                _json_of(body),
                valid_from_us=services.clock_us() if body.valid_from is None else body.valid_from,
                expected_version=body.version,
                retired=body.retired,
            )
            return {"id": _newest(tx.connection, kind, code).record_id, "code": code, "version": version}

        return await desk.act(work, reason=body.reason)

    router.include_router(own)


for _kind, _model in KINDS.items():
    _lay(_kind, _model)

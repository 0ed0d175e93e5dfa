"""Lots, vessels, samples, methods, reagents and their like: one set of routes for every kind of record.

The kind stands in the address. Its fields are checked by the model of the kind when the record is made, so
that the routes cost the start of the daemon nothing for each kind.
"""

from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Request
from sqlalchemy import Connection
from starlette.convertors import Convertor, register_url_convertor

from api.callers import refuse_below
from api.dependencies import DatabaseOf, ServicesOf
from api.desk import DeskOf
from api.keys import Scope
from api.parameters import After, Limit
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

PLURALS: Final = {
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

_KINDS: Final = {plural: kind for kind, plural in PLURALS.items()}


class _Plural(Convertor[str]):
    """The part of an address that names a kind of record; any other is no route of ours."""

    regex = "|".join(_KINDS)

    def convert(self, value: str) -> str:
        """Return the word as it stands in the address."""
        return value

    def to_string(self, value: str) -> str:
        """Return the word as it stands in the address."""
        return value


register_url_convertor("records", _Plural())

MANAGED: Final = frozenset({"methods", "acceptance", "limit-sets", "people"})
"""What decides how numbers are judged, and by whom: only who manages may change it."""


def _refuse_who_may_not_manage(plural: str, request: Request) -> None:
    refuse_below(request, Scope.MANAGE if plural in MANAGED else Scope.BENCH)


Plural = Annotated[str, Path(json_schema_extra={"enum": sorted(_KINDS)})]
"""Any other word is no route of ours."""

router = APIRouter(tags=["records"])


def _body(version: RecordVersion) -> RecordBody:
    return RecordBody(
        id=version.record_id,
        code=version.code,
        version=version.version,
        number=version.number,
        valid_from=rfc3339(version.valid_from_us),
        retired=version.retired,
        fields=from_text(version.body),
    )


def _newest(connection: Connection, kind: str, code: str) -> RecordVersion:
    found = record_by_code(connection, kind, code)
    if found is None:
        raise NotThereError("record.unknown", f"there is no {kind} {code!r}")
    return found


def _free_sample_code(connection: Connection) -> str:
    """Return a code that no sample has; people may have given codes of their own."""
    index = count_of_kind(connection, "sample")
    while record_by_code(connection, "sample", sample_code(index)) is not None:
        index += 1
    return sample_code(index)


@reads(router, "/{plural:records}", response_model=RecordPage, summary="Every record of a kind")
async def list_records(
    plural: Plural, database: DatabaseOf, after: After = 0, limit: Limit = 100
) -> RecordPage:
    """Return the newest version of each record of a kind, in the order in which they were made."""
    found = await database.read(records_of_kind, _KINDS[plural], after=after, limit=limit + 1)
    more = found[limit - 1].record_id if len(found) > limit else None
    return RecordPage(items=[_body(one) for one in found[:limit]], next=more)


@reads(router, "/{plural:records}/{code}", response_model=RecordBody, summary="One record")
async def get_record(plural: Plural, code: str, database: DatabaseOf) -> RecordBody:
    """Return the newest version of a record."""
    return _body(await database.read(_newest, _KINDS[plural], code))


@reads(router, "/{plural:records}/{code}/history", response_model=HistoryBody, summary="Its versions")
async def get_history(plural: Plural, code: str, database: DatabaseOf) -> HistoryBody:
    """Return every version of a record, oldest first, with who made it, when and why."""
    newest = await database.read(_newest, _KINDS[plural], code)
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
    router,
    "POST",
    "/{plural:records}",
    response_model=RecordAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Make a record",
    dependencies=[Depends(_refuse_who_may_not_manage)],
)
async def make_record(plural: Plural, body: NewRecord, desk: DeskOf, services: ServicesOf) -> Any:
    """Make the first version of a record; a sample without a code gets one."""
    kind = _KINDS[plural]

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        code = body.code
        if code is None and kind == "sample":
            code = _free_sample_code(tx.connection)
        if code is None:
            raise MalformedError("record.code_malformed", f"a {kind} needs a code")
        valid = services.clock_us() if body.valid_from is None else body.valid_from
        made = records.make(tx, by, kind, code, body.fields, valid_from_us=valid)
        return {"id": made, "code": code, "version": 1}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@writes(
    router,
    "PUT",
    "/{plural:records}/{code}",
    response_model=RecordAnswer,
    summary="Change a record",
    dependencies=[Depends(_refuse_who_may_not_manage)],
)
async def change_record(
    plural: Plural, code: str, body: ChangedRecord, desk: DeskOf, services: ServicesOf
) -> Any:
    """Make the next version of a record; whoever changed it meanwhile is not overwritten."""
    kind = _KINDS[plural]

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        version = records.revise(
            tx,
            by,
            kind,
            code,
            body.fields,
            valid_from_us=services.clock_us() if body.valid_from is None else body.valid_from,
            expected_version=body.version,
            retired=body.retired,
        )
        return {"id": _newest(tx.connection, kind, code).record_id, "code": code, "version": version}

    return await desk.act(work, reason=body.reason)

"""Making and changing records: a code, a body of its kind, versions with the moment from which they hold."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Generic, TypeVar, cast

from pydantic import ValidationError
from sqlalchemy import Connection

from bench.actor import Actor
from bench.canonical_json import from_text, to_text
from bench.kinds.base import CODE_PATTERN, Body
from bench.kinds.registry import KINDS, named_codes
from bench.refused import Fault, MalformedError, NotThereError, RefusedError
from storage.bench_rows import RecordLinkRow, RecordRow
from storage.queries.records import RecordVersion, record_at, record_by_code, record_by_id
from storage.transaction import Transaction

AHEAD_US: Final = 366 * 86_400 * 1_000_000
"""How far in the future a version may begin to hold: a slip in the year is further. [µs]"""

BodyType = TypeVar("BodyType", bound=Body)


@dataclass(frozen=True, slots=True)
class Record(Generic[BodyType]):
    """A version of a record with its body read."""

    version: RecordVersion
    body: BodyType

    @property
    def record_id(self) -> int:
        """Its id, the same in every version."""
        return self.version.record_id

    @property
    def code(self) -> str:
        """The name that people use."""
        return self.version.code


def read(version: RecordVersion, model: type[BodyType]) -> Record[BodyType]:
    """Return a stored version with its body."""
    return Record(version, cast("BodyType", _body(model, version.body)))


@lru_cache(maxsize=1024)
def _body(model: type[Body], text: str) -> Body:
    """Return the body that a text tells; bodies are never changed, and the same are read again and again."""
    return model.model_validate(from_text(text), strict=False)


def find(connection: Connection, model: type[BodyType], code: str) -> Record[BodyType]:
    """Return the newest version of a record by its code; raise `NotThereError` if there is none."""
    kind = kind_of(model)
    found = record_by_code(connection, kind, code)
    if found is None:
        raise NotThereError("record.unknown", f"there is no {kind} {code!r}")
    return read(found, model)


def find_usable(connection: Connection, model: type[BodyType], code: str) -> Record[BodyType]:
    """Return a record that may take part in something new; raise `RefusedError` if it is retired."""
    found = find(connection, model, code)
    if found.version.retired:
        raise RefusedError("record.retired", f"the {found.version.kind} {code!r} is retired")
    return found


def by_id(
    connection: Connection, model: type[BodyType], record_id: int, version: int | None = None
) -> Record[BodyType]:
    """Return a version of a record by its id, the newest unless one is named."""
    found = record_by_id(connection, record_id, version)
    if found is None or found.kind != kind_of(model):
        raise NotThereError("record.unknown", f"there is no {kind_of(model)} with the id {record_id}")
    return read(found, model)


def held_at(
    connection: Connection, model: type[BodyType], record_id: int, at_us: int
) -> Record[BodyType] | None:
    """Return the version of a record that held at a moment; before all of them, the first. [µs]"""
    found = record_at(connection, record_id, at_us)
    return None if found is None else read(found, model)


def kind_of(model: type[Body]) -> str:
    """Return the word under which a model is stored."""
    return next(kind for kind, known in KINDS.items() if known is model)


def make(
    tx: Transaction, actor: Actor, kind: str, code: str, fields: Mapping[str, Any], *, valid_from_us: int
) -> int:
    """Enter the first version of a record and return its id.

    Raises
    ------
    MalformedError
        If the code or a field cannot be right; it names each.
    NotThereError
        If a record it names is not there.
    RefusedError
        If the code is taken.
    """
    if re.fullmatch(CODE_PATTERN, code) is None:
        raise MalformedError("record.code_malformed", f"{code!r} cannot be a code", Fault("code", code))
    if record_by_code(tx.connection, kind, code) is not None:
        raise RefusedError(
            "record.code_taken",
            f"there is a {kind} {code!r} already; change that one, or choose another code",
        )
    body = checked(kind, fields)
    return _enter(
        tx, actor, f"{kind}.made", RecordRow(0, tx.next_number, 1, kind, code, valid_from_us, 0, ""), body
    )


def revise(
    tx: Transaction,
    actor: Actor,
    kind: str,
    code: str,
    fields: Mapping[str, Any],
    *,
    valid_from_us: int,
    expected_version: int,
    retired: bool = False,
) -> int:
    """Enter the next version of a record and return its number.

    `expected_version` is the version the change was made from: whoever changed another one meanwhile is
    not overwritten. Raises as :func:`make` does.
    """
    found = record_by_code(tx.connection, kind, code)
    if found is None:
        raise NotThereError("record.unknown", f"there is no {kind} {code!r}")
    if found.version != expected_version:
        raise RefusedError(
            "record.changed_meanwhile",
            f"the {kind} {code!r} is at version {found.version}, the change was made from {expected_version}:"
            " read it again",
        )
    body = checked(kind, fields)
    row = RecordRow(0, found.record_id, found.version + 1, kind, code, valid_from_us, int(retired), "")
    _enter(tx, actor, f"{kind}.retired" if retired else f"{kind}.revised", row, body)
    return row.version


def checked(kind: str, fields: Mapping[str, Any]) -> Body:
    """Return the body of a record; raise `MalformedError` with every field that does not fit."""
    model: type[Body] | None = KINDS.get(kind)
    if model is None:
        raise MalformedError(
            "record.body_malformed",
            f"there is no kind of record called {kind!r}; known are {', '.join(KINDS)}",
        )
    try:
        return model.model_validate(fields)
    except ValidationError as error:
        faults = [Fault(".".join(map(str, one["loc"])), str(one["msg"])) for one in error.errors()]
        said = "; ".join(f"{fault.field or 'the record'}: {fault.detail}" for fault in faults)
        raise MalformedError("record.body_malformed", f"this is no {kind}: {said}", *faults) from error


def _enter(tx: Transaction, actor: Actor, action: str, row: RecordRow, body: Body) -> int:
    if row.valid_from_us > actor.at_us + AHEAD_US:
        raise MalformedError(
            "record.future",
            "it would hold from a moment more than a year ahead",
            Fault("valid_from", "is the year right?"),
        )
    links = [
        RecordLinkRow(ordinal, row.record_id, row.version, field, _target(tx, row, field, kind, code))
        for ordinal, (field, kind, code) in enumerate(named_codes(body))
    ]
    filled = row._replace(body=to_text(body.model_dump(mode="json")))
    tx.enter(
        action,
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"record": [filled], "record_link": links},
    )
    return row.record_id


def _target(tx: Transaction, row: RecordRow, field: str, kind: str, code: str) -> int:
    found = record_by_code(tx.connection, kind, code)
    if found is None:
        raise NotThereError(
            "record.unknown", f"{field}: there is no {kind} {code!r}", Fault(field, f"no {kind} {code!r}")
        )
    if found.record_id == row.record_id:
        raise RefusedError(
            "record.names_itself",
            f"{field}: the {kind} {code!r} would be a part of itself",
            Fault(field, code),
        )
    return found.record_id

"""Slow records and their versions."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Select, and_, bindparam, func, select

from storage.schema import ledger, record, record_link


@dataclass(frozen=True, slots=True)
class RecordVersion:
    """One version of a record."""

    number: int
    """The revision: the entry that brought it."""
    ordinal: int
    record_id: int
    version: int
    kind: str
    code: str
    valid_from_us: int
    """From when it holds. [µs]"""
    retired: bool
    body: str
    """Canonical JSON."""


@dataclass(frozen=True, slots=True)
class RecordChange:
    """A version of a record with who made it, when and why."""

    version: RecordVersion
    actor: str
    at_us: int
    reason: str | None


def _newest(*conditions: Any) -> Select[Any]:
    """Select the newest versions; conditions are held against those alone."""
    newer = record.alias("newer")
    behind = select(newer.c.number).where(
        newer.c.record_id == record.c.record_id, newer.c.version > record.c.version
    )
    return select(record).where(*conditions, ~behind.exists())


def _as_version(row: Any) -> RecordVersion:
    return RecordVersion(
        row.number,
        row.ordinal,
        row.record_id,
        row.version,
        row.kind,
        row.code,
        row.valid_from_us,
        bool(row.retired),
        row.body,
    )


_BY_CODE: Final = (
    select(record)
    .where(record.c.kind == bindparam("kind"), record.c.code == bindparam("code"))
    .order_by(record.c.version.desc())
    .limit(1)
)
_NEWEST_BY_ID: Final = (
    select(record).where(record.c.record_id == bindparam("id")).order_by(record.c.version.desc()).limit(1)
)
_BY_ID: Final = select(record).where(
    record.c.record_id == bindparam("id"), record.c.version == bindparam("version")
)
_AT: Final = (
    select(record)
    .where(record.c.record_id == bindparam("id"), record.c.valid_from_us <= bindparam("at_us"))
    .order_by(record.c.valid_from_us.desc(), record.c.version.desc())
    .limit(1)
)


def record_by_code(connection: Connection, kind: str, code: str) -> RecordVersion | None:
    """Return the newest version of the record with a code."""
    row = connection.execute(_BY_CODE, {"kind": kind, "code": code}).one_or_none()
    return None if row is None else _as_version(row)


def record_by_id(connection: Connection, record_id: int, version: int | None = None) -> RecordVersion | None:
    """Return a version of a record, the newest unless one is named."""
    query = _NEWEST_BY_ID if version is None else _BY_ID
    given = {"id": record_id} if version is None else {"id": record_id, "version": version}
    row = connection.execute(query, given).one_or_none()
    return None if row is None else _as_version(row)


def record_at(connection: Connection, record_id: int, at_us: int) -> RecordVersion | None:
    """Return the version that held at a moment: the newest of those valid from then or before. [µs]

    Before all of them it is the first: a bottle stands on the bench before somebody enters it.
    """
    row = connection.execute(_AT, {"id": record_id, "at_us": at_us}).one_or_none()
    return record_by_id(connection, record_id, 1) if row is None else _as_version(row)


_BY_CODES: Final = _newest(
    record.c.kind == bindparam("kind"), record.c.code.in_(bindparam("codes", expanding=True))
)


def records_by_codes(connection: Connection, kind: str, codes: Collection[str]) -> dict[str, RecordVersion]:
    """Return the newest versions of the records that have one of some codes, by code, in one question."""
    rows = connection.execute(_BY_CODES, {"kind": kind, "codes": sorted(codes)})
    return {row.code: _as_version(row) for row in rows}


_OF_KIND: Final = (
    _newest(record.c.kind == bindparam("kind"), record.c.record_id > bindparam("after"))
    .order_by(record.c.record_id)
    .limit(bindparam("limit"))
)
_OF_KIND_RETIRED_OR_NOT: Final = _OF_KIND.where(record.c.retired == bindparam("retired"))
_LINK: Final = and_(record_link.c.record_id == record.c.record_id, record_link.c.version == record.c.version)
_NAMING: Final = _newest(
    record.c.kind == bindparam("kind"),
    select(record_link.c.target_id)
    .where(_LINK, record_link.c.target_id == bindparam("target_id"), record_link.c.role == bindparam("role"))
    .exists(),
).order_by(record.c.record_id)
_LINKS: Final = (
    select(record_link.c.role, record_link.c.target_id)
    .where(record_link.c.record_id == bindparam("id"), record_link.c.version == bindparam("version"))
    .order_by(record_link.c.ordinal)
)


def records_of_kind(
    connection: Connection, kind: str, *, after: int = 0, limit: int = 1000, retired: bool | None = None
) -> list[RecordVersion]:
    """Return the newest versions of a kind in the order of their ids, from the one after `after` on."""
    given: dict[str, Any] = {"kind": kind, "after": after, "limit": limit}
    if retired is None:
        return list(map(_as_version, connection.execute(_OF_KIND, given)))
    rows = connection.execute(_OF_KIND_RETIRED_OR_NOT, {**given, "retired": int(retired)})
    return list(map(_as_version, rows))


def records_naming(connection: Connection, target_id: int, role: str, kind: str) -> list[RecordVersion]:
    """Return the newest versions of a kind that name a record in a role, in the order of their ids."""
    rows = connection.execute(_NAMING, {"kind": kind, "target_id": target_id, "role": role})
    return list(map(_as_version, rows))


def record_history(connection: Connection, record_id: int) -> list[RecordChange]:
    """Return every version of a record, oldest first, with who made it."""
    query = (
        select(record, ledger.c.actor, ledger.c.at_us, ledger.c.reason)
        .join(ledger, ledger.c.number == record.c.number)
        .where(record.c.record_id == record_id)
        .order_by(record.c.version)
    )
    return [
        RecordChange(_as_version(row), row.actor, row.at_us, row.reason) for row in connection.execute(query)
    ]


def links_of(connection: Connection, record_id: int, version: int) -> Sequence[tuple[str, int]]:
    """Return role and target of every record that a version names, in the order they were given."""
    rows = connection.execute(_LINKS, {"id": record_id, "version": version})
    return [(row.role, row.target_id) for row in rows]


def versions_naming(connection: Connection, target_id: int, role: str) -> list[tuple[int, int]]:
    """Return id and version of every version of a record that names another in a role, old ones too."""
    query = (
        select(record_link.c.record_id, record_link.c.version)
        .where(record_link.c.target_id == target_id, record_link.c.role == role)
        .order_by(record_link.c.record_id, record_link.c.version)
    )
    return [(row.record_id, row.version) for row in connection.execute(query)]


def count_of_kind(connection: Connection, kind: str) -> int:
    """Return how many records of a kind there are, retired ones too."""
    query = select(func.count()).where(record.c.kind == kind, record.c.version == 1)
    return int(connection.execute(query).scalar_one())

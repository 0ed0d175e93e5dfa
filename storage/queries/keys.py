"""The keys of programs: found by their hash, listed by their number."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, func, select

from storage.schema import access_key, access_key_end, ledger


@dataclass(frozen=True, slots=True)
class KeyRecord:
    """A key as it is known here: never the key itself."""

    number: int
    name: str
    scope: str
    made_at_us: int
    made_by: str
    ended_at_us: int | None
    """When it was revoked; None while it is good. [µs]"""
    ended_by: str | None


def _select_keys() -> Select[Any]:
    made, ended = ledger.alias("made"), ledger.alias("ended")
    return (
        select(
            access_key.c.number,
            access_key.c.name,
            access_key.c.scope,
            made.c.at_us,
            made.c.actor,
            ended.c.at_us,
            ended.c.actor,
        )
        .join(made, made.c.number == access_key.c.number)
        .outerjoin(access_key_end, access_key_end.c.key_id == access_key.c.number)
        .outerjoin(ended, ended.c.number == access_key_end.c.number)
    )


def key_by_hash(connection: Connection, sha256: bytes) -> KeyRecord | None:
    """Return the key with this hash, revoked or not."""
    row = connection.execute(_select_keys().where(access_key.c.sha256 == sha256)).one_or_none()
    return None if row is None else KeyRecord(*row)


def keys_before(connection: Connection, *, before: int, limit: int) -> list[KeyRecord]:
    """Return keys with a number below `before`, newest first, those that were revoked among them."""
    query = _select_keys().where(access_key.c.number < before).order_by(access_key.c.number.desc())
    return [KeyRecord(*row) for row in connection.execute(query.limit(limit))]


def key_by_number(connection: Connection, number: int) -> KeyRecord | None:
    """Return a key by its number, revoked or not."""
    row = connection.execute(_select_keys().where(access_key.c.number == number)).one_or_none()
    return None if row is None else KeyRecord(*row)


def good_key_named(connection: Connection, name: str) -> KeyRecord | None:
    """Return the key of this name that was not revoked."""
    query = _select_keys().where(access_key.c.name == name, access_key_end.c.number.is_(None)).limit(1)
    row = connection.execute(query).one_or_none()
    return None if row is None else KeyRecord(*row)


def count_good_keys(connection: Connection) -> int:
    """Return how many keys were made and not revoked."""
    query = (
        select(func.count())
        .select_from(access_key)
        .outerjoin(access_key_end, access_key_end.c.key_id == access_key.c.number)
        .where(access_key_end.c.number.is_(None))
    )
    return connection.execute(query).scalar_one()

"""Bodies of keys."""

from pydantic import Field

from api.keys import NAME_PATTERN, Scope
from api.schemas.acts import Reason
from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.times import rfc3339
from storage.queries.keys import KeyRecord


class NewKey(Body):
    """A key that is wanted."""

    name: str = Field(pattern=NAME_PATTERN, description="Who or what uses it.", examples=["must-sheet"])
    scope: Scope = Field(description="What it may do: read; bench: also act; manage: everything.")
    reason: str | None = Reason


class KeyBody(Body):
    """What is known of a key; the key itself is nowhere."""

    number: LedgerNumber
    name: str
    scope: Scope
    made_at: UtcTime
    made_by: str
    revoked_at: UtcTime | None = Field(description="Null while it is good.")
    revoked_by: str | None


class KeysPage(Page[KeyBody]):
    """A page of keys, newest first."""


class MadeKey(Body):
    """A new key: the only time that it is shown."""

    number: LedgerNumber
    name: str
    scope: Scope
    key: str = Field(description="Copy it now; it is shown this once, and only its hash is kept.")


class RevokedKey(Body):
    """What became of a key."""

    ledger_number: LedgerNumber = Field(description="The entry that ended it.")


def key_body(record: KeyRecord) -> KeyBody:
    """Return the body of a key."""
    return KeyBody(
        number=record.number,
        name=record.name,
        scope=Scope(record.scope),
        made_at=rfc3339(record.made_at_us),
        made_by=record.made_by,
        revoked_at=None if record.ended_at_us is None else rfc3339(record.ended_at_us),
        revoked_by=record.ended_by,
    )

"""Bodies of checked copies."""

from pydantic import Field

from api.parameters import Moment
from api.schemas.acts import Reason
from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.times import rfc3339
from storage.queries import BackupRecord

HEAD = r"^[1-9][0-9]{0,18}:[0-9a-f]{64}$"


class NewBackup(Body):
    """A checked copy that was made of this store."""

    file: str = Field(min_length=1, max_length=4096, description="Where it stands.")
    made_at: Moment = Field(description="When it was made.")
    head: str = Field(
        pattern=HEAD,
        description="Number and link of its last ledger entry, which must be one of this store.",
        examples=["141:" + "0b" * 32],
    )
    size_bytes: int = Field(ge=0, le=2**63 - 1, description="[bytes]")
    reason: str | None = Reason


class BackupBody(Body):
    """A checked copy that was made of this store."""

    ledger_number: LedgerNumber
    file: str = Field(description="Where it stood when it was made.")
    made_at: UtcTime
    head: LedgerNumber = Field(description="The entry with which it ends.")
    size_bytes: int = Field(ge=0, description="[bytes]")
    actor: str = Field(description="Who made it.")


class BackupsPage(Page[BackupBody]):
    """A page of copies, newest first."""


class BackupAnswer(Body):
    """What became of a copy that was told."""

    ledger_number: LedgerNumber = Field(description="The entry that keeps it.")


def backup_body(record: BackupRecord) -> BackupBody:
    """Return the body of a copy."""
    return BackupBody(
        ledger_number=record.number,
        file=record.file,
        made_at=rfc3339(record.made_at_us),
        head=record.head_number,
        size_bytes=record.size_bytes,
        actor=record.actor,
    )

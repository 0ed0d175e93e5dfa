"""What the store knows of how the daemon is doing, read in one short transaction."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection

from storage import queries
from storage.queries import BackupRecord, ClockEventRecord
from storage.queries.publishing import OutboxRecord, outbox

BACKUP_DUE_US: Final = 7 * 86_400_000_000
"""A real store without a copy of this week is worth a word: common practice, no source. [µs]"""

NOTHING_WAITS: Final = OutboxRecord(0, None, 0, ())


@dataclass(frozen=True, slots=True)
class Vitals:
    """Where the ledger stands, and what was noted of copies and of the clock."""

    head: int
    last_backup: BackupRecord | None
    last_step: ClockEventRecord | None
    outbox: OutboxRecord = NOTHING_WAITS

    def backup_age_us(self, now_us: int) -> int | None:
        """Return how old the newest copy is; None if none is known. [µs]"""
        return None if self.last_backup is None else max(0, now_us - self.last_backup.made_at_us)

    def backup_is_due(self, now_us: int, store_kind: str) -> bool:
        """Tell whether a person should make a copy; invented data needs none."""
        age_us = self.backup_age_us(now_us)
        return store_kind == "real" and (age_us is None or age_us > BACKUP_DUE_US)


def read_vitals(connection: Connection, *, publishing: bool = False) -> Vitals:
    """Return what the store knows; what waits to be published is counted where anything is."""
    return Vitals(
        queries.head(connection),
        queries.last_backup(connection),
        queries.last_clock_step(connection),
        outbox(connection) if publishing else NOTHING_WAITS,
    )

"""That a copy was made, entered in the store that it was made of, where no daemon holds that store."""

from pathlib import Path

from storage import schema_version
from storage.backup import head_of
from storage.connect import writing_engine
from storage.errors import BackupError
from storage.inserts import InsertTexts
from storage.ledger import ActorKind
from storage.lock import StoreLock
from storage.rows import BackupRow
from storage.transaction import Transaction

ACTION = "backup.made"


def enter_backup(store: Path, row: BackupRow, *, actor: str, at_us: int) -> int:
    """Enter a copy in the store's own file and return the number of the entry. `at_us` since 1970 UTC. [µs]

    Raises
    ------
    StoreBusyError
        If a daemon holds the store: it must enter the copy itself.
    BackupError
        If the store was last written by an older program, whose schema knows no such entry.
    """
    lock = StoreLock(store)
    try:
        engine = writing_engine(store)
        try:
            with engine.begin() as connection:
                if schema_version.found(connection) != schema_version.newest():
                    raise BackupError(
                        f"{store} has the schema of an older program; start the daemon on it once"
                    )
                tx = Transaction(connection, head_of(connection), InsertTexts())
                number = tx.enter(
                    ACTION, at_us=at_us, actor=actor, actor_kind=ActorKind.PERSON, rows={"backup": [row]}
                )
                tx.flush()
                return number
        finally:
            engine.dispose()
    finally:
        lock.release()

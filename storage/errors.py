"""Everything that can go wrong in the storage room, split by who can act.

::

    StorageError
    ├── StoreAddressError      the address names no store that this program can open
    ├── StoreUnreachableError  the folder is missing or read-only, the disk or the server does not answer
    ├── NotAStoreError         it is no SQLite database, or the tables in it are not ours
    ├── StoreBusyError         another daemon holds the store
    ├── StoreMovedOnError      another daemon wrote it while this one could not
    ├── NewerStoreError        the store was written by a newer program
    ├── UnfinishedStoreError   a copy that a move has not brought to its end
    ├── KindMismatchError      a demo or practice store opened as a real one, or the reverse
    ├── MigrationError         a step to a newer schema failed; the store is as it was
    ├── RowError               a row does not fit its table
    ├── SpoolFullError         the spool before the writer is full
    ├── WriterClosedError      the writer has stopped; nothing was kept
    ├── BackupError            a copy could not be made, or is not good
    └── MoveError              a store could not be copied to another place
"""

from pathlib import Path
from typing import Final

Where = Path | str
"""A file, or the address of a server without its password."""

FOLDER_ADVICE: Final = (
    "wanted a folder that exists and that this account may write in. "
    "Make the folder, mend its permissions, free the disk, or name another path"
)
SERVER_ADVICE: Final = (
    "wanted a PostgreSQL server that answers and a database that this role may write in. "
    "Start the server, mend the address or the role's rights, or name another database"
)


class StorageError(Exception):
    """Base of every error of this room."""


class StoreAddressError(StorageError):
    """The address names no store that this program can open."""


class StoreUnreachableError(StorageError):
    """The folder is missing or read-only, or the disk or the server does not answer."""

    def __init__(self, path: Where, why: str, advice: str = FOLDER_ADVICE) -> None:
        super().__init__(f"the store {path} cannot be written: {why}; {advice}")
        self.path = path


class NotAStoreError(StorageError):
    """It is no SQLite database, or it belongs to another program."""

    def __init__(self, path: Where, found: str) -> None:
        super().__init__(
            f"{path} is not a store of this program: {found}. "
            "Name another path or database, or move this one away to begin a new store"
        )
        self.path = path


class StoreBusyError(StorageError):
    """Another daemon holds the lock of the store."""

    def __init__(self, path: Where, holder: str) -> None:
        super().__init__(
            f"the store {path} is held by another daemon ({holder}); "
            "one daemon a store. Stop that one, or name another store"
        )
        self.path = path
        self.holder = holder


class StoreMovedOnError(StorageError):
    """The store went on without this daemon, which must not write over what another one entered."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(
            f"another daemon has written the store since this one lost it: its ledger stands at {found}, "
            f"expected {expected}. Stop one of the two daemons, then start this one again"
        )


class NewerStoreError(StorageError):
    """The store was written by a newer program than this one."""

    def __init__(self, path: Where, found: str, known: str) -> None:
        super().__init__(
            f"the store {path} has schema {found}, which this program does not know (its newest is {known}). "
            "Run the newer program, or restore a backup made before the update"
        )
        self.path = path
        self.found = found
        self.known = known


class UnfinishedStoreError(StorageError):
    """A move has not brought the copy to its end; a daemon must not go on in the middle of it."""

    def __init__(self, path: Where) -> None:
        super().__init__(
            f"the store {path} is a copy that is not all there yet: run `tundish move` again with the same "
            "two places, then start the daemon"
        )
        self.path = path


class KindMismatchError(StorageError):
    """Real, demo and practice data must never mix."""

    def __init__(self, path: Where, found: str, wanted: str) -> None:
        super().__init__(
            f"the store {path} holds {found} data and was opened for {wanted} data; the two never mix. "
            f"Name another path for {wanted} data"
        )
        self.path = path
        self.found = found
        self.wanted = wanted


class MigrationError(StorageError):
    """A step to a newer schema failed and was rolled back."""


class RowError(StorageError, ValueError):
    """A row does not fit its table."""


class SpoolFullError(StorageError):
    """The spool before the writer is full; what was offered was not kept."""

    def __init__(self, *, offered_bytes: int, held_bytes: int, held_items: int, limit_bytes: int) -> None:
        super().__init__(
            f"the spool is full: {offered_bytes} bytes came, {held_bytes} bytes in {held_items} items wait, "
            f"the limit is {limit_bytes} bytes. Make the store writable again (the health page says what is "
            "wrong) and count these bytes as lost"
        )
        self.offered_bytes = offered_bytes
        self.held_bytes = held_bytes
        self.held_items = held_items
        self.limit_bytes = limit_bytes


class WriterClosedError(StorageError):
    """The writer has stopped, so nothing can be kept."""


class BackupError(StorageError):
    """A copy could not be made, or a copy is not good."""


class MoveError(StorageError):
    """A store could not be copied to another place; the source is as it was."""


class ExportError(StorageError):
    """A store could not be exported, or an exported folder is not as it was written."""

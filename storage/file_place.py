"""A store in a SQLite file."""

import shutil
from pathlib import Path

import structlog
from sqlalchemy import Connection, Engine

from storage.backup import backup
from storage.ballast import Ballast
from storage.connect import has_reset_bug, reading_engine, sqlite_module, sqlite_version, writing_engine
from storage.errors import FOLDER_ADVICE, StoreUnreachableError
from storage.inserts import InsertTexts
from storage.lock import StoreLock


class FilePlace:
    """The file, and what lies beside it."""

    advice = FOLDER_ADVICE

    def __init__(self, path: Path) -> None:
        self.path = path

    def __str__(self) -> str:
        return str(self.path)

    def is_there(self) -> bool:
        """Tell whether there is such a file."""
        return self.path.is_file()

    def claim(self) -> StoreLock:
        """Take the lock beside the file."""
        self.path = self.path.resolve()  # one lock by whatever name it goes
        if not self.path.parent.is_dir():
            raise StoreUnreachableError(self.path, "its folder is not there")
        return StoreLock(self.path)

    def writing_engine(self) -> Engine:
        """Return an engine for the one writer."""
        return writing_engine(self.path)

    def reading_engine(self) -> Engine:
        """Return an engine with a few connections that can do nothing but read."""
        return reading_engine(self.path)

    def statements(self) -> InsertTexts:
        """Return what the writer says to the database."""
        return InsertTexts()

    def before_step(self, _engine: Engine, newest: str, *, is_new: bool) -> None:
        """Copy the store, if there is one yet."""
        if is_new:
            return
        copy = self.path.with_name(f"{self.path.name}.before-{newest}")
        if copy.exists():  # an earlier try of this step failed
            copy.replace(copy.with_name(f"{copy.name}.older"))
        backup(self.path, copy)

    def engine_version(self, _connection: Connection) -> str:
        """Return name and version of the database engine."""
        return f"SQLite {sqlite_module().sqlite_version}"

    def warn(self) -> None:
        """Log that this SQLite can corrupt a store that two connections write."""
        if has_reset_bug(sqlite_version()):
            structlog.get_logger().warning(
                "store.old_sqlite",
                version=sqlite_module().sqlite_version,
                advice="install the extra 'sqlite' for a newer one; let nothing else write the store",
            )

    def reserve(self) -> Ballast:
        """Return the file that is thrown overboard when the disk is full."""
        return Ballast(self.path)

    def free_bytes(self) -> int | None:
        """Return the free space of the disk. [bytes]"""
        try:
            return shutil.disk_usage(self.path.parent).free
        except OSError:
            return None

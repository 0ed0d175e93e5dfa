"""Copies that were checked, and the way back from one."""

import itertools
import os
from collections.abc import Callable, Iterator
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.exc import DatabaseError, OperationalError

from storage.connect import copying_engine, reading_engine
from storage.errors import BackupError, NotAStoreError
from storage.ledger import Head
from storage.lock import StoreLock
from storage.queries import head as head_number
from storage.queries import ledger_after
from storage.schema_version import check
from storage.verify import Verdict, verify

Progress = Callable[[int, int], None]


def head_of(connection: Connection) -> Head:
    """Return number and link of the last entry."""
    number = head_number(connection)
    (last,) = ledger_after(connection, after=number - 1, limit=1)
    return Head(number, last.link)


def _sync(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    if os.name == "nt" and path.is_dir():
        return  # Windows has no such call for folders
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def backup(store: Path, target: Path) -> Head:
    """Copy a store in one step, while a daemon may be writing it, and check the copy.

    Parameters
    ----------
    store : Path
        The store.
    target : Path
        The copy; it appears under this name only once it is good.

    Returns
    -------
    Head
        Of the copy.

    Raises
    ------
    BackupError
        If the copy could not be made or is not good; nothing stays behind then.
    """
    _refuse_what_is_no_store(store)
    if target.exists():
        raise BackupError(f"{target} is there already; name another file")
    if not target.parent.is_dir():
        raise BackupError(f"the folder {target.parent} is not there; make it, or name another one")
    unfinished = target.with_name(target.name + ".unfinished")
    unfinished.unlink(missing_ok=True)
    try:
        _vacuum_into(store, unfinished)
        copied = checked_head(unfinished)
        _sync(unfinished)
        unfinished.replace(target)
        _sync(target.parent)
    except (OSError, OperationalError, DatabaseError) as error:
        raise BackupError(
            f"{store} could not be copied to {target}: {getattr(error, 'orig', error)}"
        ) from error
    finally:
        unfinished.unlink(missing_ok=True)
    return copied


def _vacuum_into(store: Path, target: Path) -> None:
    engine = copying_engine(store)
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql("VACUUM INTO ?", (str(target),))
    finally:
        engine.dispose()


def checked_head(copy: Path) -> Head:
    """Return the head of a copy whose pages are sound. Raises `BackupError` if they are not."""
    engine = reading_engine(copy)
    try:
        with engine.begin() as connection:
            found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one()
            if found != "ok":
                raise BackupError(f"{copy} is damaged: {found}")
            return head_of(connection)
    finally:
        engine.dispose()


def _refuse_what_is_no_store(store: Path) -> None:
    """Raise `BackupError`, `NotAStoreError` or `NewerStoreError` if there is no store that we know."""
    if not store.is_file():
        raise BackupError(f"there is no store {store}")
    engine = reading_engine(store)
    try:
        with engine.begin() as connection:
            if check(connection, store) is None:
                raise NotAStoreError(store, "it is empty")
    except DatabaseError as error:
        raise NotAStoreError(store, str(error.orig)) from error
    finally:
        engine.dispose()


def verify_file(store: Path, *, expected: Head | None = None, progress: Progress | None = None) -> Verdict:
    """Walk the ledger of a store's file; see `storage.verify`."""
    _refuse_what_is_no_store(store)
    engine = reading_engine(store)
    try:
        with engine.begin() as connection:
            return verify(connection, expected=expected, progress=progress or (lambda _done, _all: None))
    except DatabaseError as error:
        raise NotAStoreError(store, str(error.orig)) from error
    finally:
        engine.dispose()


def restore(copy: Path, store: Path, *, replace: bool = False, progress: Progress | None = None) -> Verdict:
    """Put a copy back as a store, after every row of it was verified.

    Raises
    ------
    BackupError
        If the copy is not good, or there is a store already and `replace` is not set; the old one is kept
        beside the new one under a name ending in ``.replaced``.
    StoreBusyError
        If a daemon holds the store.
    """
    if store.is_dir():
        raise BackupError(f"{store} is a folder; name the file that is to become the store")
    verdict = verify_file(copy, progress=progress)
    if not verdict.in_order:
        raise BackupError(f"{copy} is not good: {verdict.first_bad or '; '.join(verdict.guard_faults)}")
    lock = StoreLock(store)
    try:
        if store.exists() and not replace:
            raise BackupError(f"{store} is there already; nothing was changed. Say --replace to put it aside")
        incoming = store.with_name(store.name + ".restored")
        incoming.unlink(missing_ok=True)
        backup(copy, incoming)
        _put_aside(store)
        incoming.replace(store)
        _sync(store.parent)
    finally:
        lock.release()
    return verdict


def _put_aside(store: Path) -> None:
    """Rename a store with the files beside it, which belong to it while it is not cleanly closed."""
    aside = next(name for name in _names_aside(store) if not name.exists())
    for suffix in ("", "-wal", "-shm"):
        old = store.with_name(store.name + suffix)
        if old.exists():
            old.replace(aside.with_name(aside.name + suffix))


def _names_aside(store: Path) -> Iterator[Path]:
    """Yield names for a store that is put aside: what was put aside earlier is not written over."""
    yield store.with_name(store.name + ".replaced")
    for count in itertools.count(2):
        yield store.with_name(f"{store.name}.replaced-{count}")

"""One daemon a store: a lock on a file beside it, which the system lets go when the process ends."""

import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import IO

from storage.errors import StoreBusyError, StoreUnreachableError


def _claim(file: IO[str]) -> bool:
    if sys.platform == "win32":
        import msvcrt  # only there on Windows

        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl  # only there on POSIX

    try:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


class StoreLock:
    """Held from its making to its release."""

    def __init__(self, store: Path) -> None:
        path = store.with_name(store.name + ".lock")
        try:
            self._file = path.open("a+", encoding="ascii")
        except OSError as error:
            raise StoreUnreachableError(store, error.strerror or str(error)) from error
        if not _claim(self._file):
            holder = self._read()
            self._file.close()
            raise StoreBusyError(store, holder)
        if sys.platform != "win32":  # a locked byte cannot be written over there
            with suppress(OSError):  # on a full disk it holds all the same, only without its holder's name
                self._file.truncate(0)
                os.write(self._file.fileno(), f"process {os.getpid()}".encode())

    def _read(self) -> str:
        try:
            self._file.seek(0)
            return self._file.read(80).strip() or "process unknown"
        except OSError:  # Windows lets nobody read a locked byte
            return "process unknown"

    def release(self) -> None:
        """Let another daemon have the store."""
        self._file.close()

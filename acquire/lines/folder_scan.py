"""What lies in a folder now: one look, without opening anything."""

import os
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from fnmatch import translate
from pathlib import Path
from stat import S_ISREG
from typing import Final, NamedTuple

TEMPORARY_BEGINS: Final = (".", "~", "#")
"""How programs begin the names of files that they are still writing, or of locks beside open ones."""

TEMPORARY_ENDS: Final = (".tmp", ".temp", ".part", ".partial", ".crdownload", ".swp", "~")


class Signature(NamedTuple):
    """What the system says of a file; one that was written to almost always has another one."""

    size: int
    """[bytes]"""
    modified_ns: int
    """Since 1970, by the clock of whoever wrote it; it may go back. [ns]"""
    file_id: int
    """Which file it is, whatever its name; 0 where the system does not say."""
    changed_ns: int
    """When anything about it changed, where the system tells; elsewhere when it was made. [ns]"""


class Scanner:
    """Looks into one folder for the files that a line follows."""

    def __init__(self, folder: Path, patterns: Sequence[str]) -> None:
        """Take the folder, and patterns such as ``*.csv``, of which a name must fit one, in any case."""
        self._folder = folder
        self._fits = re.compile("|".join(f"(?:{translate(one)})" for one in patterns), re.IGNORECASE).match
        self._followed: dict[str, Signature] = {}

    def look(self) -> dict[str, Signature]:
        """Return the files by name. Raises `OSError` if the folder cannot be read."""
        with ExitStack() as stack:
            entries = stack.enter_context(os.scandir(self._opened(stack)))
            self._followed = dict(self._files(entries))
        return self._followed

    def _opened(self, stack: ExitStack) -> int | Path:
        """Return the folder as it is asked quickest: opened once, no path is walked for each file."""
        if os.scandir not in os.supports_fd:
            return self._folder
        handle = os.open(self._folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        stack.callback(os.close, handle)
        return handle

    def _files(self, entries: Iterable[os.DirEntry[str]]) -> Iterator[tuple[str, Signature]]:
        """Yield each file; one that has not changed with the very signature of the last look."""
        before = self._followed.get
        for entry in entries:
            name = entry.name
            last = before(name)
            if last is None and (not self._fits(name) or is_temporary(name)):
                continue
            try:
                status = entry.stat()
            except FileNotFoundError:
                continue  # it went while we looked
            if S_ISREG(status.st_mode):
                now = (status.st_size, status.st_mtime_ns, status.st_ino, status.st_ctime_ns)
                yield name, last if last is not None and last == now else Signature._make(now)


def signature_of(status: os.stat_result) -> Signature:
    """Return what tells one state of a file from another."""
    return Signature(status.st_size, status.st_mtime_ns, status.st_ino, status.st_ctime_ns)


def is_temporary(name: str) -> bool:
    """Tell whether a name says that a file is not ready, or is only a lock beside another one."""
    return name.startswith(TEMPORARY_BEGINS) or name.lower().endswith(TEMPORARY_ENDS)

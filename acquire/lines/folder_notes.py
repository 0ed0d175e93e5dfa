"""What a capture says of the version of a file that it holds, and how that is found again after a restart.

Nothing is kept beside the store: how far a file was read stands in the texts of its captures, and which rows
it had in their bytes. If in doubt, all of a file is read again and the rows that are known are left out.
"""

import re
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple, Protocol


@dataclass(frozen=True, slots=True)
class Known:
    """How far a file was read."""

    read_to: int
    """Up to the end of a frame. [bytes]"""
    sha256: str
    """Of all bytes up to there."""
    size: int
    """Of the file at that time. [bytes]"""
    modified_ns: int
    """[ns]"""
    is_all: bool = True
    """False behind a part of a file that was written anew: what follows may hold rows that are known."""
    formerly: str | None = None
    """The name that the file had before, if it had another one."""


class FileNote(NamedTuple):
    """A capture of a file."""

    capture: int
    name: str
    settings: str
    ending: str | None
    why: str | None

    @property
    def is_complete(self) -> bool:
        """Whether all that was to be read was read."""
        return self.ending == "complete"


class FolderMemory(Protocol):
    """What the store holds of the files of one line. Called from the thread of that line."""

    def newest(self) -> Iterable[FileNote]:
        """Return the newest capture of each file that was ever read."""

    def notes(self, name: str) -> Sequence[FileNote]:
        """Return all captures of files of that name, oldest first."""

    def heard(self, capture: int) -> Iterator[bytes]:
        """Yield the heard bytes of a capture in pieces, in order."""


class NothingKnown:
    """A memory of a line that has never read anything."""

    def newest(self) -> Iterable[FileNote]:
        """Return nothing."""
        return ()

    def notes(self, name: str) -> Sequence[FileNote]:  # noqa: ARG002
        """Return nothing."""
        return ()

    def heard(self, capture: int) -> Iterator[bytes]:  # noqa: ARG002
        """Yield nothing."""
        return iter(())


ONLY_THE_NAME: Final = "only the name is new"
"""What a capture holds that says that a file was renamed."""

_ANOTHER: Final = "; another file than the last of this name"
_SETTINGS: Final = "{what}; file of {size} bytes, modified at {modified} ns{another}{formerly}"
_SETTINGS_FORM: Final = re.compile(
    r"[^;]*; file of (?P<size>\d{1,18}) bytes, modified at (?P<modified>-?\d{1,20}) ns"
    rf"(?P<another>{_ANOTHER})?"
    r"(?:; formerly (?P<formerly>.+))?",
    re.DOTALL,
)
_WHY: Final = "read to byte {read_to}, sha256 {sha256}"
_WHY_FORM: Final = re.compile(r"read to byte (?P<read_to>\d{1,18}), sha256 (?P<sha256>[0-9a-f]{64})")
_WHY_PART: Final = "a part of a file that was written anew, more follows"


def settings_text(what: str, known: Known, *, is_another: bool = False) -> str:
    """Write what a capture holds of which state of a file, for its opening.

    Parameters
    ----------
    what : str
        The part, without a semicolon.
    known : Known
        How far the file is read with it.
    is_another : bool
        The file that had this name before has another one now.
    """
    formerly = f"; formerly {known.formerly}" if known.formerly else ""
    another = _ANOTHER if is_another else ""
    return _SETTINGS.format(
        what=what, size=known.size, modified=known.modified_ns, another=another, formerly=formerly
    )


def why_text(known: Known) -> str:
    """Write how far a file was read, for the closing of its capture."""
    return _WHY.format(read_to=known.read_to, sha256=known.sha256) if known.is_all else _WHY_PART


def known_from(note: FileNote) -> Known | None:
    """Return how far a file was read, or None if its newest capture was not read to its end."""
    settings = _SETTINGS_FORM.fullmatch(note.settings)
    why = _WHY_FORM.fullmatch(note.why or "") if note.is_complete else None
    if settings is None or why is None:
        return None
    return Known(
        read_to=int(why["read_to"]),
        sha256=why["sha256"],
        size=int(settings["size"]),
        modified_ns=int(settings["modified"]),
        formerly=settings["formerly"],
    )


def renamed(notes: Mapping[str, FileNote]) -> set[str]:
    """Return, of the newest capture of each file, the names whose file has another one by now."""
    forms = ((note, _SETTINGS_FORM.fullmatch(note.settings)) for note in notes.values())
    earlier = ((form["formerly"], note.capture) for note, form in forms if form is not None)
    return {name for name, capture in earlier if name in notes and notes[name].capture < capture}


def captures_of(memory: FolderMemory, name: str) -> list[FileNote]:
    """Return the captures of the file that has a name now, under whatever name it was read."""
    captures: list[FileNote] = []
    at: tuple[str, int] | None = name, sys.maxsize
    while at is not None:
        at, found = _captures_up_to(memory, *at)
        captures += found
    return captures


def _captures_up_to(
    memory: FolderMemory, name: str, before: int
) -> tuple[tuple[str, int] | None, list[FileNote]]:
    """Return a file's captures under one name, and the name that it had earlier, until which capture."""
    found: list[FileNote] = []
    for note in reversed(memory.notes(name)):
        if note.capture >= before:
            continue
        found.append(note)
        form = _SETTINGS_FORM.fullmatch(note.settings)
        if form is not None and form["formerly"] and note.settings.startswith(ONLY_THE_NAME):
            return (form["formerly"], note.capture), found
        if form is not None and form["another"]:
            break
    return None, found

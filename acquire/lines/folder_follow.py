"""Which files of a folder are to be looked into, and how far each was read.

A file is looked into when anything that the system says of it has changed: never only when it is newer, since
clocks go back. What the system may not notice (two writes within one tick of a clock, a share that tells
little) is found by looking again some seconds after a file was read, and at one file each time round.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from acquire.clock import NS_PER_S
from acquire.lines.folder_notes import FolderMemory, Known, known_from, renamed
from acquire.lines.folder_scan import Signature

LOOK_AGAIN_NS: Final = 5 * NS_PER_S  # [ns] longer than the coarsest clock of a file system ticks (FAT: 2 s)
SURELY_THE_SAME_BYTES: Final = 1024  # [bytes] a file that begins with so many of another is a copy of it


class Follower:
    """The state of one folder, as far as it was read."""

    def __init__(self, memory: FolderMemory, quiet_ns: int) -> None:
        """Take what the store holds, and for how long a file must not change to be taken as ready. [ns]"""
        self._quiet_ns = quiet_ns
        notes = {note.name: note for note in memory.newest()}
        found = {name: known_from(note) for name, note in notes.items()}
        self._replaced = renamed(notes)
        self._known = {
            name: known for name, known in found.items() if known is not None and name not in self._replaced
        }
        self._heard_of = set(notes)
        self._settled: dict[str, Signature] = {}
        self._since: dict[str, tuple[Signature, int]] = {}
        self._again: dict[str, int] = {}
        self._round: Iterator[str] = iter(())

    def due(self, listing: Mapping[str, Signature], now_ns: int) -> list[str]:
        """Return the names to look into, oldest change first."""
        changed = [name for name, signature in listing.items() if self._settled.get(name) != signature]
        due = [name for name in changed if not self._seems_read(name, listing[name])]
        for name in due:
            if self._since.get(name, (None,))[0] != listing[name]:
                self._since[name] = listing[name], now_ns
        due += [name for name, at_ns in self._again.items() if at_ns <= now_ns and name in listing]
        due += self._one_more(listing)
        return sorted(dict.fromkeys(due), key=lambda name: (listing[name].modified_ns, name))

    def is_quiet(self, name: str, now_ns: int) -> bool:
        """Tell whether a file has not changed for long enough."""
        since = self._since.get(name)
        return since is None or now_ns - since[1] >= self._quiet_ns

    def known(self, name: str) -> Known | None:
        """Return how far a file was read; None if it never was, or nobody knows how far."""
        return self._known.get(name)

    def is_new(self, name: str) -> bool:
        """Tell whether nothing was ever read of the file that has this name now."""
        return name not in self._known and (name not in self._heard_of or name in self._replaced)

    def is_another(self, name: str) -> bool:
        """Tell whether the file that had this name before has another one now."""
        return name in self._replaced

    def origins(self, name: str, listing: Mapping[str, Signature]) -> dict[str, Known]:
        """Return the files that may have this name now."""
        signature = listing[name]
        return {
            old: known
            for old, known in self._known.items()
            if old != name
            and known.read_to <= signature.size
            and self._may_be(old, known, signature, listing)
        }

    def moved(self, old: str, new: str) -> Known:
        """Take note that a file has another name; return how far it was read."""
        known = self._known[new] = replace(self._known.pop(old), formerly=old)
        self._settled.pop(old, None)
        self._replaced.add(old)
        self._replaced.discard(new)
        return known

    def read(self, name: str, known: Known) -> None:
        """Take note of how far a file is read."""
        self._known[name] = known
        self._heard_of.add(name)
        self._replaced.discard(name)

    def settle(self, name: str, signature: Signature, now_ns: int) -> None:
        """Take note that nothing more can be said of a file in this state."""
        if self._settled.get(name) == signature:
            self._again.pop(name, None)
        else:
            self._again[name] = now_ns + LOOK_AGAIN_NS
        self._settled[name] = signature
        self._since.pop(name, None)

    def _seems_read(self, name: str, signature: Signature) -> bool:
        """Settle, after a start, a file that looks as it did; its bytes are compared when its turn comes."""
        known = self._known.get(name)
        if name in self._settled or name in self._since or known is None or not known.is_all:
            return False
        if (known.size, known.modified_ns) != (signature.size, signature.modified_ns):
            return False
        self._settled[name] = signature
        return True

    def _one_more(self, listing: Mapping[str, Signature]) -> list[str]:
        name = next(self._round, None)
        if name is None:
            self._round = iter(list(listing))
            name = next(self._round, None)
        return [name] if name is not None and name in listing else []

    def _may_be(self, old: str, known: Known, signature: Signature, listing: Mapping[str, Signature]) -> bool:
        last = self._settled.get(old)
        same_file = last is not None and last.file_id != 0 and last.file_id == signature.file_id
        if old in listing:
            return same_file and last is not None and listing[old].file_id != last.file_id
        return (
            same_file or known.modified_ns == signature.modified_ns or known.read_to >= SURELY_THE_SAME_BYTES
        )

"""One file of a folder: read only, in pieces, and only what is new in it is handed on.

If what was read before is still the beginning of the file, it has grown, and all behind that is new. If not,
it was written anew: then a row is new if it stands there more often than it was ever heard, so that rows that
are kept in a rewritten file are not heard twice and two equal rows stay two.
"""

import hashlib
import os
from collections import Counter, OrderedDict
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from acquire.driver import DriverFactory
from acquire.lines.folder_frames import FrameCutter
from acquire.lines.folder_notes import FolderMemory, Known, captures_of
from acquire.lines.folder_part import Part, PartMaker
from acquire.lines.folder_place import PIECE_BYTES, Place
from acquire.lines.folder_scan import Signature, signature_of

PART_BYTES: Final = 256 << 10  # [bytes] about as much of a file is held at once; more is another capture
REMEMBERED_FILES: Final = 64  # whose driver waits where it stopped; others are read from their start

BEING_WRITTEN: Final = "it is being written"


OpenFile = Callable[[Path], AbstractContextManager[BinaryIO]]


def open_to_read(path: Path) -> BinaryIO:
    """Open a file so that nothing about it can be changed."""
    return path.open("rb")


@dataclass(frozen=True, slots=True)
class Read:
    """The outcome of a look into a file."""

    known: Known | None = None
    """How far it is read, once the part is kept; None if nothing can be said yet."""
    part: Part | None = None
    """What is new; None if nothing is."""
    more: bool = False
    """There is more of it than one part."""
    waits: str = ""
    """Why nothing can be said of it yet."""


class FileReader:
    """Reads the files of one line. It opens them for reading alone and keeps none open."""

    def __init__(
        self,
        folder: Path,
        driver: DriverFactory,
        memory: FolderMemory,
        open_file: OpenFile = open_to_read,
        part_bytes: int = PART_BYTES,
    ) -> None:
        self._folder = folder
        self._driver = driver
        self._memory = memory
        self._open_file = open_file
        self._part_bytes = part_bytes
        self._places: OrderedDict[str, Place] = OrderedDict()

    def read(
        self, name: str, signature: Signature, known: Known | None, *, quiet: bool, is_another: bool = False
    ) -> Read:
        """Return what is new in a file.

        Parameters
        ----------
        name : str
            Of the file in the folder.
        signature : Signature
            What the last look at the folder said of it.
        known : Known or None
            How far it was read.
        quiet : bool
            It has not changed for a while, so that nobody is writing it now.
        is_another : bool
            The file that had this name before has another one now: what was heard of that does not count.

        Raises
        ------
        OSError
            If it cannot be read now, because it is locked or went away.
        UnreadableError
            If the driver cannot go on with it.
        """
        with self._open_file(self._folder / name) as file:
            grown = known is not None and begins_as(file, known)
            if not grown and not quiet:
                return Read(waits=BEING_WRITTEN)
            if known is not None and grown and known.is_all and signature.size == known.read_to:
                return Read(known)
            place = self._place(name, file, known, grown=grown, is_another=is_another)
            part = PartMaker(place, self._part_bytes)
            at_end = part.take(file, quiet=quiet)
            if signature_of(os.fstat(file.fileno())) != signature and not (
                grown and known is not None and begins_as(file, known)
            ):
                return Read(waits=BEING_WRITTEN)
        now_known = place.known(signature, is_all=at_end or not place.rewritten)
        what = part.what()
        told, data = part.bytes_for(self._driver) if part.has_news else (b"", b"")
        if at_end:
            place.rewritten = False
        self._remember(name, place)
        news = Part(told, data, what, part.silence_ns) if part.has_news else None
        return Read(now_known, news, more=not at_end)

    def forget(self, name: str) -> None:
        """Take note that what was read of a file last was not kept."""
        self._places.pop(name, None)

    def origin(self, name: str, candidates: Mapping[str, Known]) -> str | None:
        """Return which of several files begins just as this one; the longest beginning counts."""
        with self._open_file(self._folder / name) as file:
            for other, known in sorted(candidates.items(), key=lambda one: -one[1].read_to):
                if known.read_to and begins_as(file, known):
                    return other
        return None

    def _remember(self, name: str, place: Place) -> None:
        self._places[name] = place
        while len(self._places) > REMEMBERED_FILES:
            self._places.popitem(last=False)

    def _place(
        self, name: str, file: BinaryIO, known: Known | None, *, grown: bool, is_another: bool
    ) -> Place:
        """Return where the driver stands: behind what is known, or at the start of a file written anew."""
        place = self._places.pop(name, None)
        if known is not None and grown:
            if place is not None and place.goes_on_in(file, known):
                return place
            place = self._behind(file, known) if known.is_all else None
            if place is not None:
                return place
        file.seek(0)
        return Place(self._driver, None if is_another else self._heard(name))

    def _behind(self, file: BinaryIO, known: Known) -> Place | None:
        """Run the driver up to where a file is known; None if no frame ends there any more."""
        place = Place(self._driver)
        file.seek(0)
        while left := known.read_to - place.offset - len(place.unfinished):
            piece = file.read(min(PIECE_BYTES, left))
            if not piece:
                return None
            for frame in place.push(piece):
                place.pass_over(frame)
        return None if place.unfinished else place

    def _heard(self, name: str) -> Counter[bytes]:
        """Count the rows that were ever heard of a file, under whatever name it had."""
        heard: Counter[bytes] = Counter()
        for note in captures_of(self._memory, name):
            cutter = FrameCutter(self._driver)
            frames = [frame for piece in self._memory.heard(note.capture) for frame in cutter.push(piece)]
            if note.is_complete:
                frames += cutter.silent()
            heard.update(frame.identity for frame in frames if frame.is_row)
        return heard


def begins_as(file: BinaryIO, known: Known) -> bool:
    """Tell whether a file begins with just the bytes that are known."""
    file.seek(0)
    digest = hashlib.sha256()
    left = known.read_to
    while left:
        piece = file.read(min(PIECE_BYTES, left))
        if not piece:
            return False
        digest.update(piece)
        left -= len(piece)
    return digest.hexdigest() == known.sha256

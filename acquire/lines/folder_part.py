"""The part of a file that is new, as bytes that a fresh driver reads just as they are read in the file."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import BinaryIO

from acquire.driver import DriverFactory
from acquire.lines.folder_frames import Frame, least_context
from acquire.lines.folder_place import PIECE_BYTES, Place


@dataclass(frozen=True, slots=True)
class Part:
    """What is new in a file, up to a bound."""

    told: bytes
    """What the driver must be told first, though it was heard before."""
    data: bytes
    what: str
    """Which part it is, in words."""
    silence_ns: int = 0
    """How long it must be silent behind it, until the driver has all of it. [ns]"""


class UnreadableError(Exception):
    """A file cannot be read on from the middle with the driver of its line."""


class PartMaker:
    """Gathers the new frames of a file up to a bound."""

    def __init__(self, place: Place, bound_bytes: int) -> None:
        self._place = place
        self._begin = place.offset
        self._bound_bytes = bound_bytes
        self._levels: list[bytes] | None = None  # of what may be told before the first frame
        self._lean: list[Frame] = []  # what is new, and what says how to read it
        self._full: list[Frame] = []  # with everything that is no known message
        self._size = 0
        self._news = self._rows = 0
        self.silence_ns = 0
        """How long it must be silent behind the last frame. [ns]"""

    @property
    def has_news(self) -> bool:
        """Whether there is any row that was not heard."""
        return self._news > 0

    def take(self, file: BinaryIO, *, quiet: bool) -> bool:
        """Read frames until there are enough; tell whether the file ended."""
        while self._size < self._bound_bytes:
            piece = file.read(PIECE_BYTES)
            if not piece:
                self._end(quiet=quiet)
                return True
            self._add(self._place.push(piece))
        return False

    def what(self) -> str:
        """Say which part of the file this is."""
        if self._place.rewritten:
            return f"written anew, {self._news} of {self._rows} rows are new"
        return f"from byte {self._begin}" if self._begin else "from its start"

    def bytes_for(self, driver: DriverFactory) -> tuple[bytes, bytes]:
        """Return what a fresh driver must be told, and the bytes of the part behind it.

        Raises
        ------
        UnreadableError
            If no fresh driver would read them as they are read in the file.
        """
        if not self._begin and not self._place.rewritten:
            return b"", _joined(self._full)
        for frames in (self._lean, self._full):
            told = least_context(driver, self._levels or [b""], frames)
            if told is not None:
                return told, _joined(frames)
        raise UnreadableError("what its rows mean depends on rows that were read before")

    def _end(self, *, quiet: bool) -> None:
        """Take what the end of a file that nobody is writing completes."""
        silence_ns = self._place.silence_ns
        if quiet and silence_ns:
            frames = self._place.silent()
            if frames:
                self.silence_ns = silence_ns
                self._add(frames)

    def _add(self, frames: Iterable[Frame]) -> None:
        for frame in frames:
            is_new = self._place.is_new(frame)
            self._rows += frame.is_row
            self._news += is_new and frame.is_row
            if self._levels is None and is_new:
                self._levels = self._place.context.levels()
            if self._levels is not None:
                self._keep(frame, is_new=is_new)
            self._place.pass_over(frame)

    def _keep(self, frame: Frame, *, is_new: bool) -> None:
        if is_new or not frame.is_message:
            self._full.append(frame)
        if is_new or frame.tells_how:
            self._lean.append(frame)
            self._size += len(frame.data)


def _joined(frames: Iterable[Frame]) -> bytes:
    return b"".join(frame.data for frame in frames)

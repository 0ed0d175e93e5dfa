"""Where a driver stands in a file."""

import hashlib
from collections import Counter
from typing import BinaryIO, Final

from acquire.driver import DriverFactory
from acquire.lines.folder_frames import Context, Frame, FrameCutter
from acquire.lines.folder_notes import Known
from acquire.lines.folder_scan import Signature

PIECE_BYTES: Final = 64 << 10  # [bytes] read at a time


class Place:
    """A driver that has read a file up to somewhere, and what it passed there.

    In a file that was written anew, a row is new if it stands there more often than it was ever heard.
    """

    def __init__(self, driver: DriverFactory, heard: Counter[bytes] | None = None) -> None:
        """Begin at the start of a file; `heard` counts the rows that are known of it, if there are any."""
        self._cutter = FrameCutter(driver)
        self._heard = heard or Counter()
        self._seen: Counter[bytes] = Counter()
        self._digest = hashlib.sha256()
        self.rewritten = bool(heard)
        """Whether rows that are known may still come."""
        self.context = Context()
        """What stands beside the rows that were passed."""

    @property
    def offset(self) -> int:
        """Up to where the frames are complete. [bytes]"""
        return self._cutter.offset

    @property
    def unfinished(self) -> bytes:
        """What the driver has of the next frame."""
        return self._cutter.unfinished

    @property
    def silence_ns(self) -> int:
        """How long it must be silent until what is unfinished is complete; 0 if that does not help. [ns]"""
        return self._cutter.silence_ns

    def push(self, data: bytes) -> list[Frame]:
        """Take bytes and return the frames that they complete."""
        return self._cutter.push(data)

    def silent(self) -> list[Frame]:
        """Return the frames that silence completes."""
        return self._cutter.silent()

    def is_new(self, frame: Frame) -> bool:
        """Count a frame; tell whether it was never heard. Call once for each, before it is passed."""
        if not self.rewritten:
            return True
        if not frame.is_row:
            return False
        identity = frame.identity
        self._seen[identity] += 1
        return self._seen[identity] > self._heard[identity]

    def pass_over(self, frame: Frame) -> None:
        """Go behind a frame."""
        self.context.add(frame)
        self._digest.update(frame.data)

    def known(self, signature: Signature, *, is_all: bool) -> Known:
        """Return how far the file is read."""
        return Known(self.offset, self._digest.hexdigest(), signature.size, signature.modified_ns, is_all)

    def goes_on_in(self, file: BinaryIO, known: Known) -> bool:
        """Tell whether the driver can go on here in a file that begins as it is known; stands there then."""
        if self._digest.hexdigest() != known.sha256:
            return False
        file.seek(self.offset)
        return file.read(len(self.unfinished)) == self.unfinished

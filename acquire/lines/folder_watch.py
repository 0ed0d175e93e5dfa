"""One round of following a folder: look, read what is new in each file, hand it over."""

import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Final

import structlog

from acquire.clock import NS_PER_S, Clock, now
from acquire.config import FolderSource
from acquire.lines.folder_file import FileReader
from acquire.lines.folder_follow import Follower
from acquire.lines.folder_notes import ONLY_THE_NAME, Known, settings_text, why_text
from acquire.lines.folder_part import Part, UnreadableError
from acquire.lines.folder_scan import Scanner, Signature
from acquire.lines.transport import Batch, End, Opened, Piece
from acquire.sink import Ending

TURN_BYTES: Final = 16 << 10  # [bytes] of one commit, so that a big file delays no other line
SILENCE_MARGIN_NS: Final = NS_PER_S // 10  # [ns] so that a driver's silence has surely passed

Give = Callable[[Batch], None]
"""Hands a batch over and returns when it is kept; raises if it never will be."""

log = structlog.get_logger()


class FolderWatch:
    """Follows a folder for as long as somebody calls :meth:`once`, which waits: call it from a thread."""

    def __init__(
        self,
        source: FolderSource,
        reader: FileReader,
        follower: Follower,
        give: Give,
        *,
        stopping: threading.Event,
        clock: Clock,
    ) -> None:
        self._source = source
        self._reader = reader
        self._follower = follower
        self._give = give
        self._clock = clock
        self._stopping = stopping
        self._scanner = Scanner(source.folder, source.patterns)
        self._blocked: dict[str, str] = {}  # why each file that cannot be read waits

    def once(self) -> None:
        """Look into the folder once. Raises `OSError` if it cannot be read."""
        listing = self._scanner.look()
        for name in self._follower.due(listing, self._clock.monotonic_ns()):
            if self._stopping.is_set():
                return
            try:
                self._look_into(name, listing)
            except FileNotFoundError:
                continue  # it went since we looked at the folder, or the folder did: the next look will tell
            except OSError as error:
                self._block(name, f"it cannot be read now: {error.strerror or error}")
            except UnreadableError as error:
                self._block(name, f"it cannot be read on with this driver: {error}", level="error")
                self._follower.settle(name, listing[name], self._clock.monotonic_ns())
            else:
                self._blocked.pop(name, None)

    def _look_into(self, name: str, listing: dict[str, Signature]) -> None:
        if self._follower.is_new(name):
            self._find_origin(name, listing)
        more = True
        while more:
            more = self._read_a_part(name, listing[name])

    def _find_origin(self, name: str, listing: dict[str, Signature]) -> None:
        """See whether a file that was read before has a new name."""
        origin = self._reader.origin(name, self._follower.origins(name, listing))
        if origin is not None:
            log.info("folder.file_moved", folder=str(self._source.folder), file=name, formerly=origin)
            self._reader.forget(origin)
            self._hand_over(name, Part(b"", b"", ONLY_THE_NAME), self._follower.moved(origin, name))

    def _read_a_part(self, name: str, signature: Signature) -> bool:
        """Read and hand over the next part of a file; tell whether there is more of it to be read now."""
        before = self._follower.known(name)
        read = self._reader.read(
            name,
            signature,
            before,
            quiet=self._follower.is_quiet(name, self._clock.monotonic_ns()),
            is_another=self._follower.is_another(name),
        )
        if read.known is None:
            return False
        known = replace(read.known, formerly=before.formerly if before else None)
        if read.part is not None and not self._hand_over(name, read.part, known):
            return False
        self._follower.read(name, known)
        if not read.more:
            self._follower.settle(name, signature, self._clock.monotonic_ns())
        return read.more and not self._stopping.is_set()

    def _hand_over(self, name: str, part: Part, known: Known) -> bool:
        """Bring a part to whoever keeps it; tell whether it was brought to its end."""
        settings = settings_text(part.what, known, is_another=self._follower.is_another(name))
        self._give(Batch(begins=Opened(str(self._source.folder / name), settings, now(self._clock))))
        turns = [part.data[at : at + TURN_BYTES] for at in range(0, len(part.data), TURN_BYTES)]
        for data in ([part.told] if part.told else []) + turns:
            self._give(Batch((Piece(now(self._clock), data),)))
        silence_s = (part.silence_ns + SILENCE_MARGIN_NS) / NS_PER_S
        if part.silence_ns and self._stopping.wait(silence_s):
            return False  # the driver lacks its silence, so the part is read again after the next start
        self._give(Batch(closes=End(Ending.COMPLETE, why_text(known), now(self._clock))))
        return True

    def _block(self, name: str, why: str, level: str = "warning") -> None:
        if self._blocked.get(name) != why:
            self._blocked[name] = why
            getattr(log, level)("folder.file_waits", folder=str(self._source.folder), file=name, why=why)

"""A folder that is followed round by round, with what its captures hold and what they are read as."""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path, PurePath
from typing import BinaryIO

from acquire.accounting import Account
from acquire.clock import SystemClock, now
from acquire.config import FolderSource
from acquire.driver import DriverFactory
from acquire.events import Event, FrameRead, FrameRefused
from acquire.instants import moved
from acquire.lines.folder_file import FileReader, OpenFile, open_to_read
from acquire.lines.folder_follow import Follower
from acquire.lines.folder_notes import FileNote
from acquire.lines.folder_watch import FolderWatch
from acquire.lines.transport import Batch

MINUTE_NS = 60_000_000_000  # [ns] longer than any silence that a driver of the tests waits for


@dataclass
class KeptCapture:
    """One capture, as the store would have it."""

    device: str
    settings: str
    data: bytes = b""
    ending: str | None = None
    why: str | None = None

    @property
    def name(self) -> str:
        return PurePath(self.device).name

    def events(self, driver: DriverFactory) -> list[Event]:
        account = Account(driver)
        at = now(SystemClock())
        later = moved(at, MINUTE_NS)
        return account.receive(self.data, at) + account.tick(later) + account.closed(later)


@dataclass
class KeptFiles:
    """Keeps captures in memory and answers what a folder asks of a store."""

    captures: list[KeptCapture] = field(default_factory=list)

    def give(self, batch: Batch) -> None:
        if batch.begins is not None:
            self.captures.append(KeptCapture(batch.begins.device, batch.begins.settings))
        for piece in batch.pieces:
            self.captures[-1].data += piece.data
        if batch.closes is not None:
            self.captures[-1].ending = batch.closes.ending.value
            self.captures[-1].why = batch.closes.why

    def newest(self) -> Sequence[FileNote]:
        return list({note.name: note for note in self._notes()}.values())

    def notes(self, name: str) -> Sequence[FileNote]:
        return [note for note in self._notes() if note.name == name]

    def heard(self, capture: int) -> Iterator[bytes]:
        data = self.captures[capture].data
        yield from (data[at : at + 7] for at in range(0, len(data), 7))

    def _notes(self) -> list[FileNote]:
        return [
            FileNote(number, one.name, one.settings, one.ending, one.why)
            for number, one in enumerate(self.captures)
        ]


class FollowedFolder:
    """Files that a test writes, and a daemon that it lets look, stop and start again."""

    def __init__(
        self,
        folder: Path,
        driver: DriverFactory,
        patterns: tuple[str, ...] = ("*",),
        quiet_ns: int = 0,
        part_bytes: int = 256 << 10,
    ) -> None:
        self.folder = folder
        self.driver = driver
        self.kept = KeptFiles()
        self.open_file: OpenFile = open_to_read
        self.give: Callable[[Batch], None] = self.kept.give
        self._patterns = patterns
        self._quiet_ns = quiet_ns
        self._part_bytes = part_bytes
        folder.mkdir(exist_ok=True)
        self.start()

    def start(self) -> None:
        """Begin anew with nothing but what was kept."""
        source = FolderSource(self.folder, self._patterns, 0.01)
        reader = FileReader(self.folder, self.driver, self.kept, self._open, self._part_bytes)
        follower = Follower(self.kept, self._quiet_ns)
        self.watch = FolderWatch(
            source, reader, follower, self._give, stopping=threading.Event(), clock=SystemClock()
        )

    def look(self, times: int = 1) -> None:
        """Let the daemon go round."""
        for _ in range(times):
            self.watch.once()

    def write(self, name: str, data: bytes) -> None:
        """Write a file anew and look."""
        (self.folder / name).write_bytes(data)
        self.look()

    def append(self, name: str, data: bytes) -> None:
        """Write behind what stands in a file and look."""
        with (self.folder / name).open("ab") as file:
            file.write(data)
        self.look()

    @property
    def events(self) -> list[Event]:
        return [event for capture in self.kept.captures for event in capture.events(self.driver)]

    @property
    def values(self) -> list[Decimal | None]:
        """Every value that was read, in the order of the captures."""
        reads = [event for event in self.events if isinstance(event, FrameRead)]
        return [reading.value for event in reads for reading in event.readings]

    @property
    def refusals(self) -> list[FrameRefused]:
        return [event for event in self.events if isinstance(event, FrameRefused)]

    def _open(self, path: Path) -> AbstractContextManager[BinaryIO]:
        return self.open_file(path)

    def _give(self, batch: Batch) -> None:
        self.give(batch)

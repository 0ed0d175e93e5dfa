"""A folder as a line: the files that programs drop there are followed, and never moved or written to.

A capture is one version of one file: only the bytes past what was read before, behind what the driver must be
told once more to read them. How far each file was read is known from the captures themselves.
"""

import asyncio
from typing import Final

import structlog

from acquire.clock import NS_PER_S, Clock, now
from acquire.config import FolderSource
from acquire.driver import DriverFactory
from acquire.errors import (
    PortAbsentError,
    PortForbiddenError,
    PortLostError,
    PortUnavailableError,
    TransportError,
)
from acquire.events import Instant
from acquire.lines.folder_file import FileReader, OpenFile, open_to_read
from acquire.lines.folder_follow import Follower
from acquire.lines.folder_notes import FolderMemory
from acquire.lines.folder_scan import Scanner
from acquire.lines.folder_thread import FolderThread
from acquire.lines.folder_watch import FolderWatch
from acquire.lines.handover import Handover
from acquire.lines.transport import Backlog, Batch, Opened

OPEN_LIMIT_S: Final = 15.0  # [s] a share that went away may not answer for minutes
JOIN_LIMIT_S: Final = 3.0  # [s] a thread that hangs longer in the system is left to itself

log = structlog.get_logger()


class FolderLine:
    """One folder, opened as often as it comes back."""

    def __init__(
        self,
        source: FolderSource,
        clock: Clock,
        driver: DriverFactory,
        memory: FolderMemory,
        open_file: OpenFile = open_to_read,
    ) -> None:
        self._source = source
        self._clock = clock
        self._driver = driver
        self._memory = memory
        self._open_file = open_file
        self._thread: FolderThread | None = None
        self._handover: Handover | None = None

    @property
    def takes_bytes(self) -> bool:
        """Never: nobody listens at the other end of a file."""
        return False

    @property
    def comes_again(self) -> bool:
        """Always: what was not kept is still in the file."""
        return True

    @property
    def last_round_ns(self) -> int | None:
        """Always None: a share may hold the thread up for minutes, which is no reason for an alarm. [ns]"""
        return None

    @property
    def backlog(self) -> Backlog:
        """Empty: what a file holds is not lost while it waits."""
        return Backlog()

    async def open(self) -> Opened:
        """Look into the folder once, and follow it from then on.

        Raises
        ------
        PortUnavailableError
            If it is not there or cannot be read.
        """
        folder = self._source.folder
        try:
            async with asyncio.timeout(OPEN_LIMIT_S):
                follower = await asyncio.to_thread(self._first_look)
        except TimeoutError as error:
            text = f"folder {folder} did not answer within {OPEN_LIMIT_S:g} s; it is tried again"
            raise PortUnavailableError(str(folder), text) from error
        except FileNotFoundError as error:
            text = f"folder {folder} does not exist; is its disk or share connected?"
            raise PortAbsentError(str(folder), text) from error
        except NotADirectoryError as error:
            text = f"{folder} is no folder; name the folder that the files are in"
            raise PortUnavailableError(str(folder), text) from error
        except PermissionError as error:
            text = f"no permission to read folder {folder}; give it to the user that runs this program"
            raise PortForbiddenError(str(folder), text) from error
        except OSError as error:
            text = f"folder {folder} cannot be read: {error.strerror or error}"
            raise PortUnavailableError(str(folder), text) from error
        reader = FileReader(folder, self._driver, self._memory, self._open_file)
        self._handover = Handover(asyncio.get_running_loop())
        self._thread = FolderThread(
            self._source,
            lambda give, stopping: FolderWatch(
                self._source, reader, follower, give, stopping=stopping, clock=self._clock
            ),
            self._handover,
            self._clock,
        )
        self._thread.start()
        settings = f"{' '.join(self._source.patterns)}, every {self._source.poll_s:g} s"
        return Opened(str(folder), settings, now(self._clock), captures_follow=True)

    async def wait(self) -> Instant | None:
        """Wait until a part of a file is there."""
        await self._opened().wait()
        return None

    def take(self) -> Batch:
        """Return, once, the part that waits."""
        return self._opened().take()

    def kept(self) -> None:
        """Let the thread go on."""
        self._opened().kept()

    async def send(self, data: bytes) -> None:
        """Refuse."""
        text = f"{len(data)} bytes cannot be sent to a folder: files are only read"
        raise TransportError(str(self._source.folder), text)

    def stop(self) -> None:
        """End after the part that is under way."""
        if self._thread is not None:
            self._thread.stop()

    async def close(self) -> None:
        """Wait for the thread; one that hangs in the system is left behind."""
        if self._thread is None or self._handover is None:
            return
        self._thread.stop()
        self._handover.close()
        if not await asyncio.to_thread(self._thread.join, JOIN_LIMIT_S):
            log.error("line.reader_left", device=str(self._source.folder), waited_s=JOIN_LIMIT_S)
        self._thread = None

    def _first_look(self) -> Follower:
        Scanner(self._source.folder, self._source.patterns).look()
        return Follower(self._memory, int(self._source.quiet_s * NS_PER_S))

    def _opened(self) -> Handover:
        if self._handover is None:
            raise PortLostError(str(self._source.folder), f"folder {self._source.folder} was never opened")
        return self._handover

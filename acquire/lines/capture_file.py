"""A file of captured bytes as a line: read once, from its beginning to its end."""

import asyncio
from typing import BinaryIO, Final

from acquire.clock import Clock, now
from acquire.config import CaptureFileSource
from acquire.errors import PortAbsentError, PortUnavailableError, TransportError
from acquire.events import Instant
from acquire.lines.transport import Backlog, Batch, End, Opened, Piece
from acquire.sink import Ending

BLOCK_BYTES: Final = 65_536  # [bytes] one commit each
PACED_BLOCK_BYTES: Final = 32  # [bytes] about what a reader finds at once on a wire
BITS_PER_BYTE: Final = 10  # [bit] on a wire: start bit, eight data bits, stop bit


class CaptureFileLine:
    """Brings the bytes of a file as fast as they are taken, or as slowly as a wire would."""

    def __init__(self, source: CaptureFileSource, clock: Clock) -> None:
        self._path = source.path
        self._pace_baud = source.pace_baud
        self._clock = clock
        self._file: BinaryIO | None = None
        self._on_the_wire = b""  # read, and not yet arrived at its pace
        self._next = b""
        self._end: End | None = None

    @property
    def takes_bytes(self) -> bool:
        """Never: nobody listens at the other end of a file."""
        return False

    @property
    def comes_again(self) -> bool:
        """Never: the file is read once."""
        return False

    @property
    def last_round_ns(self) -> int | None:
        """Always None: no thread reads here. [ns]"""
        return None

    @property
    def backlog(self) -> Backlog:
        """Empty: what a file holds is not lost while it waits."""
        return Backlog()

    async def open(self) -> Opened:
        """Open the file.

        Raises
        ------
        PortUnavailableError
            If it cannot be read.
        """
        self._on_the_wire, self._next, self._end = b"", b"", None
        try:
            self._file, device = await asyncio.to_thread(self._open_file)
        except FileNotFoundError as error:
            raise PortAbsentError(str(self._path), f"file {self._path} does not exist") from error
        except OSError as error:
            text = f"file {self._path} cannot be read: {error.strerror}"
            raise PortUnavailableError(str(self._path), text) from error
        settings = f"paced at {self._pace_baud} baud" if self._pace_baud else ""
        return Opened(device, settings, now(self._clock))

    async def wait(self) -> Instant | None:
        """Read the next block, after the time it would take on a wire if a pace is set."""
        if self._next or self._end or self._file is None:
            return None
        if not self._on_the_wire:
            self._on_the_wire = self._file.read(self._block_bytes)
        if self._on_the_wire and self._pace_baud:
            await self._clock.sleep(len(self._on_the_wire) * BITS_PER_BYTE / self._pace_baud)
        self._next, self._on_the_wire = self._on_the_wire, b""
        if not self._next:
            self._end = self._ended(Ending.COMPLETE, "the file was read to its end")
        return None

    def take(self) -> Batch:
        """Return, once, the block that waits."""
        pieces = (Piece(now(self._clock), self._next),) if self._next else ()
        self._next = b""
        return Batch(pieces, end=self._end)

    def kept(self) -> None:
        """Do nothing: nobody waits for it."""

    async def send(self, data: bytes) -> None:
        """Refuse."""
        raise TransportError(str(self._path), f"{len(data)} bytes cannot be sent to a capture file")

    def stop(self) -> None:
        """End after the block that waits."""
        if self._end is None:
            self._end = self._ended(Ending.STOPPED, "the line was stopped")

    async def close(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def _open_file(self) -> tuple[BinaryIO, str]:
        return self._path.open("rb"), str(self._path.resolve())

    @property
    def _block_bytes(self) -> int:
        return PACED_BLOCK_BYTES if self._pace_baud else BLOCK_BYTES

    def _ended(self, ending: Ending, why: str) -> End:
        return End(ending, why, now(self._clock))

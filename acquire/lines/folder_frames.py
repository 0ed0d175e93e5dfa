"""The rows of a file as its driver cuts them, and what a driver must be told to read on in the middle.

What a row is, where it ends and what it says is the driver's knowledge alone; so the same driver that reads
a capture is run over the file first. Frames that carry a message are what a file is about: each is told from
others by its bytes. All other frames (a preamble, a header, a row of units, a footer, refused rows) may
decide how the rows behind them are read; they are the context.
"""

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Final, NamedTuple

from acquire.accounting import Account
from acquire.driver import DriverFactory
from acquire.events import Event, FrameRead, FrameRefused, Instant

START: Final = Instant(utc_us=0, monotonic_ns=0)
"""Time stands still while a file is read."""

CONTEXT_BYTES: Final = 256 << 10  # [bytes] most that is told again; a file with more is read from its start


class Frame(NamedTuple):
    """A piece of a file as the driver cut it."""

    begin: int
    """In the file. [bytes]"""
    data: bytes
    event: Event

    @property
    def end(self) -> int:
        """Behind its last byte. [bytes]"""
        return self.begin + len(self.data)

    @property
    def is_message(self) -> bool:
        """Whether it says something that is kept as a reading or a notice."""
        return isinstance(self.event, FrameRead) and bool(self.event.readings or self.event.notices)

    @property
    def is_row(self) -> bool:
        """Whether it counts among what a file holds: it says something, or should have."""
        return self.is_message or isinstance(self.event, FrameRefused)

    @property
    def tells_how(self) -> bool:
        """Whether the driver read it and it holds no number: such as a header."""
        return isinstance(self.event, FrameRead) and not self.is_message

    @property
    def identity(self) -> bytes:
        """What tells it from frames with other bytes."""
        return sha256(self.data).digest()[:16]


class FrameCutter:
    """Runs a driver over the bytes of a file, piece by piece, and gives its frames with their bytes."""

    def __init__(self, driver: DriverFactory) -> None:
        self._account = Account(driver)
        self._pending = bytearray()
        self._offset = 0  # of the first pending byte [bytes]

    @property
    def offset(self) -> int:
        """Up to where frames are complete. [bytes]"""
        return self._offset

    @property
    def unfinished(self) -> bytes:
        """What came and has no end yet."""
        return bytes(self._pending)

    @property
    def silence_ns(self) -> int:
        """How long it must be silent until what is unfinished is complete; 0 if that does not help. [ns]"""
        due_ns = self._account.next_deadline_ns
        return 0 if due_ns is None else max(0, due_ns - START.monotonic_ns)

    def push(self, data: bytes) -> list[Frame]:
        """Take bytes and return the frames that they complete."""
        self._pending += data
        return self._frames(self._account.receive(data, START))

    def silent(self) -> list[Frame]:
        """Return the frames that silence completes."""
        return self._frames(self._account.tick(START._replace(monotonic_ns=self.silence_ns)))

    def _frames(self, events: Iterable[Event]) -> list[Frame]:
        frames = []
        used = 0
        begin = self._offset
        for event in events:
            length = event.span.length
            frames.append(Frame(begin + used, bytes(self._pending[used : used + length]), event))
            used += length
        del self._pending[:used]
        self._offset += used
        return frames


class Context:
    """What stands beside the messages of a file, in the order in which it last stood there.

    Up to the first message every byte counts, since a driver may count the rows of a preamble. Behind it a
    frame that comes once more only moves.
    """

    def __init__(self) -> None:
        self._head = bytearray()
        self._settled = False  # whether a message has come
        self._later: dict[bytes, Frame] = {}
        self._size = 0  # [bytes]

    @property
    def is_complete(self) -> bool:
        """Whether there was room for all of it."""
        return self._size <= CONTEXT_BYTES

    def add(self, frame: Frame) -> None:
        """Take note of the next frame of the file."""
        if frame.is_message:
            self._settled = True
        elif not self._settled:
            self._grow(len(frame.data))
            if self.is_complete:
                self._head += frame.data
        else:
            if self._later.pop(frame.data, None) is None:
                self._grow(len(frame.data))
            if self.is_complete:
                self._later[frame.data] = frame

    def levels(self) -> list[bytes]:
        """Return what may be told again, from nothing to everything."""
        if not self.is_complete or not self._size:
            return [b""]
        head = bytes(self._head)
        read = b"".join(frame.data for frame in self._later.values() if frame.tells_how)
        return list(dict.fromkeys([b"", head + read, head + b"".join(self._later)]))

    def _grow(self, size: int) -> None:
        self._size += size
        if not self.is_complete:
            self._head.clear()
            self._later.clear()


def least_context(driver: DriverFactory, levels: Sequence[bytes], frames: Sequence[Frame]) -> bytes | None:
    """Return the least that a fresh driver must be told to find just the messages that a file has there.

    None if it finds others whatever it is told.

    Parameters
    ----------
    driver : DriverFactory
        Of the line.
    levels : sequence of bytes
        What may be told, the least first.
    frames : sequence of Frame
        With the meaning that they have in the file.
    """
    wanted = _told(frames)
    enough: bytes | None = None
    for told in levels:
        cutter = FrameCutter(driver)
        cutter.push(told)
        if cutter.unfinished:
            continue
        found = _told([again for frame in frames for again in cutter.push(frame.data)] + cutter.silent())
        if found == wanted:
            return told
        if enough is None and _messages(found) == _messages(wanted):
            enough = told  # how the others are refused may depend on where a part begins
    return enough


Told = tuple[bytes, str, tuple[object, ...], tuple[object, ...]]
"""The bytes of a frame, why it was refused, its readings and its notices."""


def _told(frames: Iterable[Frame]) -> list[Told]:
    """Return what is said of frames; blank ones do not count, since pieces decide how they are joined."""
    told: list[Told] = []
    for frame in frames:
        match frame.event:
            case FrameRead(readings=readings, notices=notices):
                told.append((frame.data, "", readings, notices))
            case FrameRefused(reason=reason):
                told.append((frame.data, reason, (), ()))
    return told


def _messages(told: Iterable[Told]) -> list[Told]:
    return [one for one in told if one[2] or one[3]]

"""The place where a reader thread leaves its pieces and the event loop finds them."""

import asyncio
import threading
from typing import Final

from acquire.events import Instant
from acquire.lines.rounds import Rounds
from acquire.lines.transport import Backlog, Batch, End, Piece

CAPACITY_BYTES: Final = 1 << 20  # [bytes] 18 minutes of a full line at 9600 baud
TURN_BYTES: Final = 16 << 10  # [bytes] most that one turn takes, so that a flood on one line delays no other
ROOM_WAIT_S: Final = 0.25  # [s] at 115200 baud 2.9 kB come meanwhile, and a port's own buffer holds 4 kB


class Inbox:
    """Bounded; the thread wakes the loop only when the loop waits.

    When it is full the thread waits a moment for room: what speaks over a socket or a pseudo-terminal is
    held up by that and loses nothing, and a real port holds so much by itself. Once a piece found no room
    everything after it is dropped too, until the loop has taken what is there: what was lost then lies in one
    place, at the end of a batch.
    """

    def __init__(
        self,
        rounds: Rounds,
        capacity_bytes: int = CAPACITY_BYTES,
        room_wait_s: float = ROOM_WAIT_S,
    ) -> None:
        self._rounds = rounds
        self._capacity_bytes = capacity_bytes
        self._room_wait_s = room_wait_s
        self._lock = threading.Lock()
        self._room = threading.Condition(self._lock)
        self._pieces: list[Piece] = []
        self._held_bytes = 0
        self._overflow_bytes = 0
        self._end: End | None = None
        self._error: BaseException | None = None
        self._awaited = False
        self._something = asyncio.Event()

    @property
    def backlog(self) -> Backlog:
        """What was left here and not taken yet."""
        with self._lock:
            since = self._pieces[0].at if self._pieces else None
            return Backlog(self._held_bytes, self._overflow_bytes, since)

    @property
    def room_bytes(self) -> int:
        """How much would find room now; the whole capacity once something was dropped, as more is. [bytes]"""
        with self._lock:
            held_bytes = 0 if self._overflow_bytes else self._held_bytes
            return max(0, self._capacity_bytes - held_bytes)

    def put(self, piece: Piece) -> None:
        """Leave a piece; wait a moment for room if there is none. From the thread."""
        with self._lock:
            size = len(piece.data)
            self._room.wait_for(lambda: self._overflow_bytes or self._has_room(size), self._room_wait_s)
            self._keep(piece)

    def put_now(self, piece: Piece) -> None:
        """Leave a piece without waiting. From the thread."""
        with self._lock:
            self._keep(piece)

    def _keep(self, piece: Piece) -> None:
        size = len(piece.data)
        if self._overflow_bytes or not self._has_room(size):
            self._overflow_bytes += size
        else:
            self._pieces.append(piece)
            self._held_bytes += size
        self._wake()

    def end(self, end: End) -> None:
        """Say that no more comes. From the thread."""
        with self._lock:
            self._end = end
            self._wake()

    def fail(self, error: BaseException) -> None:
        """Say that the thread met an error that is none of the port's. From the thread."""
        with self._lock:
            self._error = error
            self._wake()

    async def wait(self) -> Instant | None:
        """Wait until there is something; return when the first piece came, None at an end without one."""
        while not self._ready():
            await self._something.wait()
        with self._lock:
            if self._error is not None:
                raise self._error
            return self._pieces[0].at if self._pieces and self._end is None else None

    def take(self) -> Batch:
        """Return, once, the first of what is here, in whole pieces; overflow and end come with the last."""
        with self._lock:
            pieces = self._pieces[: self._turn()]
            del self._pieces[: len(pieces)]
            self._held_bytes -= sum(len(piece.data) for piece in pieces)
            self._room.notify()
            if self._pieces:
                return Batch(tuple(pieces))
            batch = Batch(tuple(pieces), self._overflow_bytes, self._end)
            self._overflow_bytes = 0
            return batch

    def _turn(self) -> int:
        """Return how many pieces make up one turn, at least one."""
        size = 0
        for count, piece in enumerate(self._pieces):
            size += len(piece.data)
            if count and size > TURN_BYTES:
                return count
        return len(self._pieces)

    def _has_room(self, size: int) -> bool:
        return self._held_bytes + size <= self._capacity_bytes

    def _ready(self) -> bool:
        with self._lock:
            ready = bool(self._pieces or self._overflow_bytes or self._end or self._error)
            self._awaited = not ready
            self._something.clear()
            return ready

    def _wake(self) -> None:
        if not self._awaited:
            return
        self._awaited = False
        self._rounds.ring(self._something.set)

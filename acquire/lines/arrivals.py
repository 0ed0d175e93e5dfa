"""Take what comes at a port, and leave it in the inbox of its line.

Every kind of port can be asked through the library: wait for the first byte, then take what is there, so that
a loss costs none of it. Devices on Linux are asked directly, all in one thread.
"""

import contextlib
import os
import sys
import threading
from typing import Final, Protocol

import serial

from acquire.clock import NS_PER_S, Clock, now
from acquire.events import Instant
from acquire.lines.device_watch import DeviceWatch
from acquire.lines.inbox import ROOM_WAIT_S, Inbox
from acquire.lines.port_faults import FAULTS
from acquire.lines.transport import Piece

TAKE_BYTES: Final = 4096  # [bytes] a terminal holds no more at a time
LOOK_UP_S: Final = 0.5  # [s] the longest that listening takes while nothing comes

_ENDED: Final = "it says that bytes are there and gives none; was it unplugged?"


class Listener(Protocol):
    """Listens to one open port."""

    @property
    def last_round_ns(self) -> int:
        """Monotonic time at which whoever reads last came round. [ns]"""

    def listen(self) -> None:
        """Wait a moment for bytes. Raises what the port raised."""

    def cancel(self) -> None:
        """Cut the waiting short. From any thread."""

    def close(self) -> None:
        """Listen no more; the port can be closed now."""


def listener_of(port: serial.Serial, inbox: Inbox, clock: Clock, watch: DeviceWatch) -> Listener:
    """Return what listens to a port: other classes of the library read in ways of their own."""
    if sys.platform == "linux" and type(port) is serial.Serial:
        return WatchedDevice(port.fileno(), inbox, watch)
    return AnyPort(port, inbox, clock)


class AnyPort:
    """Asks through the library, in the thread that listens."""

    def __init__(self, port: serial.Serial, inbox: Inbox, clock: Clock) -> None:
        self._port = port
        self._inbox = inbox
        self._clock = clock
        self.last_round_ns = clock.monotonic_ns()

    def listen(self) -> None:
        """Wait for a byte as long as the port's read timeout allows, and take what is there with it."""
        self.last_round_ns = self._clock.monotonic_ns()
        first = self._port.read(1)
        if not first:
            return
        at, rest = now(self._clock), b""
        try:
            waiting = self._port.in_waiting  # on a socket 0 or 1: more follows at the next round
            if waiting:
                rest = self._port.read(waiting)
        finally:  # the byte alone if the port goes
            self._inbox.put(Piece(at, first + rest))

    def cancel(self) -> None:
        """Cancel reading, where the port can; sockets cannot, and take one read timeout."""
        cancel = getattr(self._port, "cancel_read", None)
        if cancel is not None:
            with contextlib.suppress(*FAULTS):
                cancel()

    def close(self) -> None:
        """Do nothing: nobody else reads."""


class WatchedDevice:
    """Is read by the thread of a watch; the thread that listens waits for the end only."""

    def __init__(self, descriptor: int, inbox: Inbox, watch: DeviceWatch) -> None:
        self._descriptor = descriptor
        self._inbox = inbox
        self._watch = watch
        self._ended = threading.Event()
        self._error: Exception | None = None
        self._held_up_since_ns: int | None = None
        watch.add(self)

    @property
    def last_round_ns(self) -> int:
        """Monotonic time at which the watch last came round. [ns]"""
        return self._watch.last_round_ns

    def fileno(self) -> int:
        """Return the device's descriptor."""
        return self._descriptor

    def take(self, at: Instant) -> None:
        """Take what is there, as far as there is room. From the watch."""
        size = self._inbox.room_bytes
        if size == 0:
            if self._is_held_up(at):
                return
            size = TAKE_BYTES  # it is lost, and counted
        self._held_up_since_ns = None
        with contextlib.suppress(BlockingIOError):  # somebody else took it
            data = os.read(self._descriptor, min(size, TAKE_BYTES))
            if not data:
                raise serial.SerialException(_ENDED)
            self._inbox.put_now(Piece(at, data))

    def fail(self, error: Exception) -> None:
        """Let it be raised where somebody listens. From the watch."""
        self._error = error
        self._ended.set()

    def listen(self) -> None:
        """Wait a moment for the end."""
        if self._ended.wait(LOOK_UP_S) and self._error is not None:
            raise self._error

    def cancel(self) -> None:
        """Cut the waiting short."""
        self._ended.set()

    def close(self) -> None:
        """Have the device watched no longer."""
        self._watch.remove(self)

    def _is_held_up(self, at: Instant) -> bool:
        """Tell whether the device itself may hold its bytes a little longer."""
        since_ns = self._held_up_since_ns = self._held_up_since_ns or at.monotonic_ns
        return at.monotonic_ns - since_ns < ROOM_WAIT_S * NS_PER_S

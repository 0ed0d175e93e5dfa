"""Take what comes at a port: wait for the first byte, then take what is there, so that a loss costs none.

Every kind of port can be asked through the library. A device on Linux is asked directly: the library makes
five system calls of what two do, and after each one the thread has to wait for its turn in the interpreter.
"""

import contextlib
import os
import select
import sys
from collections.abc import Callable
from typing import Any, Final

import serial

from acquire.clock import Clock, now
from acquire.lines.transport import Piece

TAKE_BYTES: Final = 4096  # [bytes] a terminal holds no more at a time
_ENDED: Final = "it says that bytes are there and gives none; was it unplugged?"

Put = Callable[[Piece], None]
Listen = Callable[[], None]
"""Waits for bytes as long as the port's read timeout allows, or until reading is cancelled, and hands on what
came as one piece. Raises what the port raises."""


def listening(port: serial.Serial, clock: Clock, put: Put) -> Listen:
    """Return what listens to a port once."""
    # Other classes of the library read in ways of their own; without the pipe no reading could be cancelled.
    if sys.platform == "linux" and type(port) is serial.Serial and hasattr(port, "pipe_abort_read_r"):
        return _Device(port, clock, put)
    return _AnyPort(port, clock, put)


class _AnyPort:
    """Asks through the library."""

    def __init__(self, port: serial.Serial, clock: Clock, put: Put) -> None:
        self._port = port
        self._clock = clock
        self._put = put

    def __call__(self) -> None:
        first = self._port.read(1)
        if not first:
            return
        at, rest = now(self._clock), b""
        try:
            waiting = self._port.in_waiting  # on a socket 0 or 1: more follows at the next round
            if waiting:
                rest = self._port.read(waiting)
        finally:  # the byte alone if the port goes
            self._put(Piece(at, first + rest))


class _Device:
    """Asks the system."""

    def __init__(self, port: Any, clock: Clock, put: Put) -> None:
        self._clock = clock
        self._put = put
        self._device: int = port.fileno()
        self._cancelled: int = port.pipe_abort_read_r
        self._limit_ms = None if port.timeout is None else 1000 * port.timeout
        self._poll = select.poll()
        self._poll.register(self._device, select.POLLIN)
        self._poll.register(self._cancelled, select.POLLIN)

    def __call__(self) -> None:
        ready = dict(self._poll.poll(self._limit_ms))
        if self._cancelled in ready:
            os.read(self._cancelled, TAKE_BYTES)
        elif ready:
            self._take()

    def _take(self) -> None:
        at = now(self._clock)
        with contextlib.suppress(BlockingIOError):  # somebody else took it
            data = os.read(self._device, TAKE_BYTES)
            if not data:
                raise serial.SerialException(_ENDED)
            self._put(Piece(at, data))

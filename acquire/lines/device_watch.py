"""Watch many devices in one thread, so that many lines that speak cost few wakings. Linux only.

Each thread that wakes waits for its turn in the interpreter and makes others wait for theirs; with a thread a
port that cost more than the reading. After a round the thread rests a moment, so that what comes meanwhile is
taken together. What comes after a quiet moment is taken at once.
"""

import contextlib
import os
import select
import threading
import time
from collections.abc import Iterable
from typing import Final, Protocol

from acquire.clock import Clock, now
from acquire.events import Instant

REST_S: Final = 0.005  # [s] how late a stamp can be; usual USB adapters hold bytes back for up to 16 ms
LOOK_UP_S: Final = 0.5  # [s] the longest it is away from saying that it lives
END_LIMIT_S: Final = 1.0  # [s] it is at rest, or taking what never makes it wait


class Watched(Protocol):
    """A device that bytes may come from."""

    def fileno(self) -> int:
        """Return its descriptor."""

    def take(self, at: Instant) -> None:
        """Take what is there, without ever waiting."""

    def fail(self, error: Exception) -> None:
        """Hear that taking raised this; it is not asked again."""


class DeviceWatch:
    """Has a thread while there is a device to watch, and none otherwise."""

    def __init__(self, clock: Clock) -> None:
        self.last_round_ns = clock.monotonic_ns()
        """When the thread last came round. [ns]"""
        self._clock = clock
        self._lock = threading.Lock()  # held during a round: who was removed is not in it
        self._devices: dict[int, Watched] = {}
        self._watching: _Watching | None = None

    def add(self, device: Watched) -> None:
        """Watch a device from now on."""
        with self._lock:
            if self._watching is None:
                self._watching = _Watching(self)
            self._devices[device.fileno()] = device
            self._watching.epoll.register(device.fileno(), select.EPOLLIN)

    def remove(self, device: Watched) -> None:
        """Watch a device no longer; once this has returned it is not asked again."""
        ended = None
        with self._lock:
            self._forget(device)
            if not self._devices:
                ended, self._watching = self._watching, None
        if ended is not None:
            ended.stop()

    def round(self, ready: Iterable[int]) -> None:
        """Let each of these descriptors be taken from. From the thread."""
        at = now(self._clock)
        with self._lock:
            for device in [self._devices[number] for number in ready if number in self._devices]:
                try:
                    device.take(at)
                except Exception as error:  # whoever listens to it must get it, whatever it is
                    self._forget(device)
                    device.fail(error)

    def look_up(self) -> None:
        """Say that the thread lives. From the thread."""
        self.last_round_ns = self._clock.monotonic_ns()

    def _forget(self, device: Watched) -> None:
        if self._devices.pop(device.fileno(), None) is not None and self._watching is not None:
            with contextlib.suppress(OSError):  # a device that is gone may have left by itself
                self._watching.epoll.unregister(device.fileno())


class _Watching:
    """The thread of a watch, from its first device to its last."""

    def __init__(self, watch: DeviceWatch) -> None:
        self.epoll = select.epoll()
        self._watch = watch
        self._bell = os.eventfd(0)
        self.epoll.register(self._bell, select.EPOLLIN)
        self._thread = threading.Thread(target=self._run, name="devices", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the thread and wait for its end."""
        os.eventfd_write(self._bell, 1)
        self._thread.join(END_LIMIT_S)

    def _run(self) -> None:
        ready: list[int] = []
        while self._bell not in ready:
            self._watch.look_up()
            ready = [number for number, _ in self.epoll.poll(LOOK_UP_S)]
            if ready:
                self._watch.round(ready)
                time.sleep(REST_S)
        self.epoll.close()
        os.close(self._bell)

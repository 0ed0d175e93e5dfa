import contextlib
import os
import threading
import time
from collections.abc import Callable, Iterator

import pytest
import serial

from acquire.clock import SystemClock
from acquire.lines.arrivals import AnyPort, Listener, WatchedDevice, listener_of
from acquire.lines.device_watch import DeviceWatch
from acquire.lines.inbox import Inbox
from acquire.lines.rounds import Rounds

pytestmark = pytest.mark.needs("epoll")
PATIENCE_S = 10.0  # [s] a test that waits longer has failed


class Wire:
    """A pseudo-terminal with the instrument at one end and a listener at the other."""

    def __init__(self, watch: DeviceWatch, port: serial.Serial, master: int, capacity_bytes: int) -> None:
        self.inbox = Inbox(Rounds(), capacity_bytes)
        self.master = master
        self.listener: Listener = listener_of(port, self.inbox, SystemClock(), watch)
        self.heard = b""

    def until_heard(self, count: int) -> bytes:
        def enough() -> bool:
            self.heard += b"".join(piece.data for piece in self.inbox.take().pieces)
            return len(self.heard) >= count

        until(enough)
        return self.heard


def until(done: Callable[[], bool]) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < deadline, "waited in vain"
        os.sched_yield()


@pytest.fixture
def watch() -> DeviceWatch:
    return DeviceWatch(SystemClock())


@contextlib.contextmanager
def wired(watch: DeviceWatch, capacity_bytes: int = 1 << 20) -> Iterator[Wire]:
    master, slave = os.openpty()
    with serial.Serial(os.ttyname(slave), timeout=0.05) as port:
        os.close(slave)
        wire = Wire(watch, port, master, capacity_bytes)
        with contextlib.closing(wire.listener):
            yield wire
    with contextlib.suppress(OSError):  # the test closed it
        os.close(master)


async def test_a_device_is_read_by_the_thread_of_the_watch(watch: DeviceWatch) -> None:
    with wired(watch) as wire:
        assert isinstance(wire.listener, WatchedDevice)
        os.write(wire.master, b"7.01 pH")
        assert wire.until_heard(7) == b"7.01 pH"


async def test_other_kinds_of_port_are_asked_through_the_library(watch: DeviceWatch) -> None:
    with serial.serial_for_url("loop://", timeout=0.05) as port:
        inbox = Inbox(Rounds())
        listener = listener_of(port, inbox, SystemClock(), watch)
        assert isinstance(listener, AnyPort)
        port.write(b"7.01")
        listener.listen()
        assert b"".join(piece.data for piece in inbox.take().pieces) == b"7.01"


async def test_many_devices_share_one_thread_that_ends_with_the_last(watch: DeviceWatch) -> None:
    with contextlib.ExitStack() as stack:
        wires = [stack.enter_context(wired(watch)) for _ in range(8)]
        for place, wire in enumerate(wires):
            os.write(wire.master, b"%d" % place)
        assert [wire.until_heard(1) for wire in wires] == [b"%d" % place for place in range(8)]
        assert _threads() == 1
    assert _threads() == 0


async def test_a_watch_begins_anew_after_its_last_device_went(watch: DeviceWatch) -> None:
    for _ in range(3):
        with wired(watch) as wire:
            os.write(wire.master, b"x")
            assert wire.until_heard(1) == b"x"


async def test_a_lost_device_is_told_where_somebody_listens_and_harms_no_other(watch: DeviceWatch) -> None:
    with wired(watch) as lost, wired(watch) as other:
        os.write(lost.master, b"7.01")
        assert lost.until_heard(4) == b"7.01"
        os.close(lost.master)
        with pytest.raises(OSError, match=r"gives none|Input/output"):
            _listen_until_it_raises(lost.listener)
        os.write(other.master, b"x")
        assert other.until_heard(1) == b"x"


async def test_a_cancelled_wait_ends_at_once(watch: DeviceWatch) -> None:
    with wired(watch) as wire:
        wire.listener.cancel()
        wire.listener.listen()


async def test_a_device_whose_inbox_is_full_keeps_its_bytes_until_there_is_room(watch: DeviceWatch) -> None:
    with wired(watch, capacity_bytes=3) as wire:
        os.write(wire.master, b"7.01 pH")
        until(lambda: wire.inbox.room_bytes == 0)
        assert wire.until_heard(7) == b"7.01 pH"
        assert wire.inbox.backlog.overflow_bytes == 0


async def test_what_a_full_inbox_cannot_take_in_time_is_counted(watch: DeviceWatch) -> None:
    with wired(watch, capacity_bytes=3) as wire:
        os.write(wire.master, b"7.01 pH")
        until(lambda: wire.inbox.backlog.overflow_bytes > 0)
        batch = wire.inbox.take()
        assert b"".join(piece.data for piece in batch.pieces) == b"7.0"
        assert batch.overflow_bytes == 4


async def test_the_watch_says_when_it_last_came_round(watch: DeviceWatch) -> None:
    with wired(watch) as wire:
        before = wire.listener.last_round_ns
        until(lambda: wire.listener.last_round_ns > before)


def _listen_until_it_raises(listener: Listener) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        listener.listen()


def _threads() -> int:
    return sum(thread.name == "devices" for thread in threading.enumerate())

import asyncio
import threading
from collections.abc import Callable
from typing import cast

import pytest
import serial

from acquire.clock import SystemClock, now
from acquire.errors import PortLostError, PortUnavailableError
from acquire.lines.device_watch import DeviceWatch
from acquire.lines.inbox import Inbox
from acquire.lines.reader import PortReader
from acquire.lines.rounds import Rounds
from acquire.lines.transport import Opened
from acquire.sink import Ending

PATIENCE_S = 10.0  # [s] a test that waits longer has failed


class FakePort:
    """A port whose reading does what the test says."""

    port = "fake://"

    def __init__(self, read: Callable[[], bytes]) -> None:
        self._read = read
        self.in_waiting = 0
        self.closed_in: str | None = None
        self.was_closed_while_writing: bool | None = None
        self.cancelled = threading.Event()
        self.reading = threading.Event()
        self.writing = threading.Event()
        self.may_write = threading.Event()

    def read(self, size: int) -> bytes:
        self.reading.set()
        return self._read()

    def cancel_read(self) -> None:
        self.cancelled.set()

    def write(self, data: bytes) -> None:
        self.writing.set()
        self.may_write.wait(PATIENCE_S)
        self.was_closed_while_writing = self.closed_in is not None

    def close(self) -> None:
        self.closed_in = threading.current_thread().name


def _reader(port: FakePort, before: Callable[[], object] = lambda: None) -> tuple[PortReader, Inbox]:
    clock = SystemClock()
    inbox = Inbox(Rounds())

    def open_port() -> tuple[serial.Serial, Opened]:
        before()
        return cast("serial.Serial", port), Opened("fake", "", now(clock))

    return PortReader("fake", open_port, inbox, DeviceWatch(clock), clock), inbox


def _raising(error: Exception) -> Callable[[], bytes]:
    def read() -> bytes:
        raise error

    return read


@pytest.mark.parametrize(
    "error",
    [
        serial.SerialException("device disconnected"),
        OSError(5, "Input/output error"),
        TypeError("'NoneType' object cannot be interpreted as an integer"),
        ValueError("filedescriptor out of range in select()"),
        AttributeError("'NoneType' object has no attribute 'recv'"),
    ],
)
async def test_every_way_in_which_a_port_dies_ends_the_reading_as_lost(error: Exception) -> None:
    reader, inbox = _reader(FakePort(_raising(error)))
    await reader.start()
    await inbox.wait()
    end = inbox.take().end
    assert end is not None
    assert (end.ending, end.why) == (Ending.LOST, f"fake was lost: {error}")
    assert await reader.join(PATIENCE_S)


async def test_an_error_of_ours_is_handed_to_whoever_waits() -> None:
    reader, inbox = _reader(FakePort(_raising(ZeroDivisionError("a bug"))))
    await reader.start()
    with pytest.raises(ZeroDivisionError):
        await inbox.wait()
    assert await reader.join(PATIENCE_S)


async def test_the_thread_that_reads_closes_the_port() -> None:
    port = FakePort(lambda: b"")
    reader, _ = _reader(port)
    await reader.start()
    reader.stop()
    assert await reader.join(PATIENCE_S)
    assert port.closed_in == "line fake"


async def test_bytes_read_before_the_port_dies_are_not_lost() -> None:
    answers = iter([b"p", b"H"])
    reader, inbox = _reader(FakePort(lambda: next(answers, None) or _raising(OSError(5, "gone"))()))
    await reader.start()
    assert await reader.join(PATIENCE_S)
    assert b"".join(piece.data for piece in inbox.take().pieces) == b"pH"


async def test_a_thread_that_hangs_in_the_system_is_given_up() -> None:
    let_go = threading.Event()
    port = FakePort(lambda: b"")
    reader, _ = _reader(port, before=let_go.wait)
    opening = asyncio.create_task(reader.start())
    assert not await reader.join(0.01)
    reader.stop()
    with pytest.raises(PortUnavailableError, match="stopped while it was being opened"):
        await opening
    let_go.set()
    assert await reader.join(PATIENCE_S)
    assert port.closed_in == "line fake"


async def test_nothing_can_be_written_once_the_port_is_closed() -> None:
    reader, _ = _reader(FakePort(lambda: b""))
    await reader.start()
    reader.stop()
    await reader.join(PATIENCE_S)
    with pytest.raises(PortLostError, match="3 bytes were not sent"):
        reader.write(b"ACK")


async def test_a_stop_wakes_a_reader_that_waits_for_bytes() -> None:
    port = FakePort(lambda: b"")
    port._read = lambda: b"" if port.cancelled.wait(PATIENCE_S) else b"waited in vain"
    reader, inbox = _reader(port)
    await reader.start()
    await asyncio.to_thread(port.reading.wait, PATIENCE_S)
    reader.stop()
    assert await reader.join(PATIENCE_S)
    assert inbox.take().pieces == ()


async def test_a_port_is_not_closed_while_somebody_writes() -> None:
    port = FakePort(lambda: b"")
    reader, _ = _reader(port)
    await reader.start()
    writing = asyncio.create_task(asyncio.to_thread(reader.write, b"ACK"))
    await asyncio.to_thread(port.writing.wait, PATIENCE_S)
    reader.stop()
    assert not await reader.join(0.05)
    port.may_write.set()
    await writing
    assert await reader.join(PATIENCE_S)
    assert port.was_closed_while_writing is False

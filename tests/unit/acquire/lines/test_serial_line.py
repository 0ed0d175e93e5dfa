"""One port, on real pseudo-terminals and on the library's own loop and socket ports."""

import asyncio
import gc
import random
import socket
import struct
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
import serial

from acquire.clock import SystemClock
from acquire.config import DevicePath, Parity, PortUrl, SerialSettings, SerialSource, UsbIdentity
from acquire.errors import (
    NotATtyError,
    PortAbsentError,
    PortBusyError,
    PortLostError,
    PortSettingError,
    UnknownSchemeError,
    WriteStoppedError,
)
from acquire.lines.serial_line import SerialLine
from acquire.lines.transport import Batch, End, Opened
from acquire.sink import Ending
from tests.fakes.terminal import PluggedTerminal

PATIENCE_S = 10.0  # [s] a test that waits longer has failed
pytestmark = pytest.mark.needs("pseudo-terminals")


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[PluggedTerminal]:
    plugged = PluggedTerminal(tmp_path / "bench-ph")
    plugged.plug()
    yield plugged
    plugged.unplug()


def _line(target: Path | str, settings: SerialSettings | None = None) -> SerialLine:
    port = PortUrl(target) if isinstance(target, str) else DevicePath(str(target))
    return SerialLine(SerialSource(port, settings or SerialSettings()), SystemClock(), ports=list)


@asynccontextmanager
async def _open(line: SerialLine) -> AsyncIterator[Opened]:
    try:
        yield await line.open()
    finally:
        await line.close()


async def _next(line: SerialLine) -> Batch:
    async with asyncio.timeout(PATIENCE_S):
        await line.wait()
    return line.take()


async def _read(line: SerialLine, size: int) -> bytes:
    data = b""
    while len(data) < size:
        data += b"".join(piece.data for piece in (await _next(line)).pieces)
    return data


async def _read_to_the_end(line: SerialLine) -> tuple[bytes, End]:
    data = b""
    while True:
        batch = await _next(line)
        data += b"".join(piece.data for piece in batch.pieces)
        if batch.end is not None:
            return data, batch.end


async def test_what_the_port_delivers_arrives_unchanged_however_it_is_cut(terminal: PluggedTerminal) -> None:
    chance = random.Random(7)
    sent = chance.randbytes(20_000)
    cuts = sorted(chance.sample(range(len(sent)), 400))
    line = _line(terminal.path)
    async with _open(line):
        reading = asyncio.create_task(_read(line, len(sent)))
        for begin, end in zip([0, *cuts], [*cuts, len(sent)], strict=True):
            await asyncio.to_thread(terminal.write, sent[begin:end])
        assert await reading == sent


async def test_instants_never_go_back(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        instants = []
        for _ in range(20):
            terminal.write(b"pH 3.41\n")
            instants += [piece.at.monotonic_ns for piece in (await _next(line)).pieces]
    assert instants == sorted(instants)


async def test_a_description_names_the_real_device_and_the_settings(terminal: PluggedTerminal) -> None:
    async with _open(_line(terminal.path)) as opened:
        assert opened.device == f"{terminal.path} -> {terminal.path.resolve()}"
        assert opened.settings == "9600 8N1"


async def test_what_was_read_before_an_unplug_comes_before_the_end(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        terminal.write(b"pH 3.")
        first = await _read(line, 5)
        terminal.unplug()
        rest, end = await _read_to_the_end(line)
    assert first + rest == b"pH 3."
    assert end.ending is Ending.LOST
    assert str(terminal.path) in end.why


async def test_a_stop_is_an_end_of_its_own(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        line.stop()
        _, end = await _read_to_the_end(line)
    assert end.ending is Ending.STOPPED


async def test_a_port_that_is_not_there_is_absent(tmp_path: Path) -> None:
    with pytest.raises(PortAbsentError) as refused:
        async with _open(_line(tmp_path / "none")):
            pass
    assert str(refused.value) == f"port {tmp_path / 'none'} does not exist; is the cable plugged in?"


async def test_a_port_that_another_program_holds_is_busy(terminal: PluggedTerminal) -> None:
    with serial.Serial(str(terminal.path), exclusive=True), pytest.raises(PortBusyError) as refused:
        async with _open(_line(terminal.path)):
            pass
    assert "is in use by another program" in str(refused.value)


async def test_an_open_port_is_ours_alone(terminal: PluggedTerminal) -> None:
    async with _open(_line(terminal.path)):
        with pytest.raises(serial.SerialException):
            serial.Serial(str(terminal.path), exclusive=True)


@pytest.mark.skipif(sys.platform != "linux", reason="no other system tells whether a port is claimed")
async def test_the_claim_on_a_port_ends_with_it(terminal: PluggedTerminal) -> None:
    async with _open(_line(terminal.path)):
        assert terminal.is_claimed
    assert not terminal.is_claimed


async def test_a_plain_file_is_not_a_port(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.touch()
    with pytest.raises(NotATtyError, match=r"notes\.txt is not a serial port"):
        async with _open(_line(path)):
            pass


async def test_settings_that_the_port_cannot_have_are_named(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path, SerialSettings(9600, 7, Parity.EVEN))
    async with _open(line):
        pass  # a pseudo-terminal refuses them only when it has nothing else to change
    with pytest.raises(PortSettingError, match="cannot be set to 9600 7E1"):
        async with _open(line):
            pass


async def test_a_url_of_an_unknown_kind_is_refused() -> None:
    with pytest.raises(
        UnknownSchemeError,
        match=r"there is no kind of URL 'nonsense' as in .* known: .*socket.*correct the line's dev",
    ):
        async with _open(_line("nonsense://x")):
            pass


async def test_an_address_where_nobody_answers_is_absent() -> None:
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        url = f"socket://127.0.0.1:{unused.getsockname()[1]}"
        with pytest.raises(PortAbsentError, match="nothing answers at socket"):
            async with _open(_line(url)):
                pass


async def test_a_usb_adapter_that_is_not_there_is_absent() -> None:
    source = SerialSource(UsbIdentity(1, 2, serial="A1"))
    line = SerialLine(source, SystemClock(), ports=list)
    with pytest.raises(PortAbsentError, match="no USB adapter 0001:0002 serial A1"):
        async with _open(line):
            pass


async def test_what_is_sent_reaches_the_other_end(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        await line.send(b"\x06")
        assert await asyncio.to_thread(terminal.read, 10) == b"\x06"


async def test_sending_to_a_port_that_takes_nothing_ends_in_finite_time(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        with pytest.raises(WriteStoppedError, match="held up by XOFF or a control line"):
            async with asyncio.timeout(PATIENCE_S):
                await line.send(bytes(200_000))  # nobody reads: far more than the system holds


async def test_sending_to_an_unplugged_port_says_that_it_was_lost(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        terminal.unplug()
        with pytest.raises(PortLostError):
            await line.send(b"\x06")


async def test_sending_to_a_closed_line_is_refused(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        pass
    with pytest.raises(PortLostError, match="3 bytes were not sent"):
        await line.send(b"ACK")


async def test_the_reader_comes_round_while_the_line_is_quiet(terminal: PluggedTerminal) -> None:
    line = _line(terminal.path)
    async with _open(line):
        opened_ns = line.last_round_ns
        terminal.write(b"x")
        await _next(line)
        terminal.write(b"y")
        await _next(line)
        assert opened_ns is not None
        assert line.last_round_ns is not None
        assert line.last_round_ns > opened_ns
    assert line.last_round_ns is None


async def test_a_loop_port_brings_back_what_is_sent() -> None:
    line = _line("loop://")
    async with _open(line) as opened:
        await line.send(b"pH 3.41\n")
        assert await _read(line, 8) == b"pH 3.41\n"
    assert opened.device == "loop://"


async def test_a_socket_brings_what_is_said_at_the_other_end() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        line = _line(f"socket://127.0.0.1:{server.getsockname()[1]}")
        async with _open(line):
            far, _ = server.accept()
            far.sendall(b"pH 3.41\n" * 50)
            assert await _read(line, 400) == b"pH 3.41\n" * 50
            far.close()
            assert (await _read_to_the_end(line))[1].ending is Ending.LOST


async def test_a_reset_connection_leaves_no_socket_open() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        line = _line(f"socket://127.0.0.1:{server.getsockname()[1]}")
        async with _open(line):
            far, _ = server.accept()
            far.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            far.close()
            assert (await _read_to_the_end(line))[1].ending is Ending.LOST
    gc.collect()  # a socket that nobody closed is an error here


async def test_what_finds_no_room_is_counted_and_the_rest_unharmed(terminal: PluggedTerminal) -> None:
    source = SerialSource(DevicePath(str(terminal.path)))
    line = SerialLine(source, SystemClock(), ports=list, capacity_bytes=3)
    kept, lost_bytes = b"", 0
    async with _open(line):
        terminal.write(b"pH 3.41\n")
        while len(kept) + lost_bytes < 8:
            batch = await _next(line)
            kept += b"".join(piece.data for piece in batch.pieces)
            lost_bytes += batch.overflow_bytes
    assert len(kept) + lost_bytes == 8
    assert b"pH 3.41\n".startswith(kept[:1])

"""Listening to one line without a daemon."""

import asyncio
import select
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
import serial

from acquire.clock import SystemClock
from acquire.config import (
    CaptureFileSource,
    DevicePath,
    FarSource,
    LineSettings,
    MqttSource,
    PortUrl,
    SerialSource,
    Source,
)
from acquire.lines.mqtt_line import MqttLine
from acquire.registry import DriverRegistry
from tests.fakes.broker_client import publish
from tests.fakes.line_driver import FakeLineDrivers
from tests.fakes.terminal import PluggedTerminal
from tests.fakes.uart import receive, transmit
from tests.services.mosquitto import Mosquitto
from tundish.errors import LineNotHeardError
from tundish.listening import listen
from tundish.wiring import LinePlan

FRAME = b"R|0042|2025-10-06 08:41:07|F|W-1007|2.31|mL|29.6|mg/L|*53\r\n"


def plan_of(source: Source) -> LinePlan:
    return LinePlan(LineSettings("so2", "bur-1", source), DriverRegistry([]).factory("so2-burette"))


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[PluggedTerminal]:
    plugged = PluggedTerminal(tmp_path / "port")
    plugged.plug()
    yield plugged
    plugged.unplug()


async def test_bytes_are_shown_with_what_the_driver_makes_of_them(tmp_path: Path) -> None:
    path = tmp_path / "monday.bin"
    path.write_bytes(FRAME)
    said: list[str] = []
    await listen(plan_of(CaptureFileSource(path)), None, said.append)
    assert said[0] == str(path)
    assert said[1].startswith("       0  52 7c 30 30 34 32")
    assert any("free_so2 29.6 mg/L of W-1007" in line for line in said)
    assert "complete: the file was read to its end" in said
    assert said[-1] == f"{len(FRAME)} bytes heard, 1 frames read, 0 refused"


@pytest.mark.needs("pseudo-terminals")
async def test_a_silent_line_says_so_when_the_time_is_over(terminal: PluggedTerminal) -> None:
    said: list[str] = []
    await listen(plan_of(SerialSource(DevicePath(str(terminal.path)))), 0.1, said.append)
    assert said[-2:] == ["0.1 seconds are over", "0 bytes heard, 0 frames read, 0 refused"]


@pytest.mark.needs("pseudo-terminals")
async def test_a_busy_port_is_refused_once_and_nothing_is_said_of_trying_again(
    terminal: PluggedTerminal,
) -> None:
    with (
        serial.Serial(str(terminal.path), exclusive=True),
        pytest.raises(LineNotHeardError, match=r"is in use by another program; close that program$"),
    ):
        await listen(plan_of(SerialSource(DevicePath(str(terminal.path)))), None, print)


@pytest.mark.needs("pseudo-terminals")
async def test_what_is_no_port_is_refused_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").touch()
    with pytest.raises(LineNotHeardError, match=r"notes\.txt is not a serial port; name the port's"):
        await listen(plan_of(SerialSource(DevicePath(str(tmp_path / "notes.txt")))), None, print)


async def test_what_seems_wrong_is_told_once_with_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "monday.bin"
    path.write_bytes(receive(transmit(FRAME * 40, data_bits=7, parity="even")))
    said: list[str] = []
    await listen(plan_of(CaptureFileSource(path)), None, said.append)
    (hint,) = [line for line in said if line.startswith("HINT")]
    assert hint.startswith("HINT  looks like 7 data bits, even parity\n      seen: 100 % of ")
    assert "\n      do:   set data_bits = 7 and parity = even" in hint


class Viewer:
    """Reads what is shown, and waits for it."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self._something = asyncio.Event()

    def __call__(self, line: str) -> None:
        self.said.append(line)
        self._something.set()

    async def until(self, part: str, count: int = 1) -> None:
        """Wait until so many lines hold a text."""
        async with asyncio.timeout(20):
            while sum(part in line for line in self.said) < count:
                self._something.clear()
                await self._something.wait()


@asynccontextmanager
async def listening(plan: LinePlan) -> AsyncIterator[Viewer]:
    viewer = Viewer()
    task = asyncio.create_task(listen(plan, None, viewer))
    yield viewer
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


@pytest.mark.needs("pseudo-terminals")
async def test_a_lost_line_is_heard_again_when_it_is_back(terminal: PluggedTerminal) -> None:
    async with listening(plan_of(SerialSource(DevicePath(str(terminal.path))))) as viewer:
        await viewer.until("9600 8N1")
        terminal.unplug()
        await viewer.until("lost: ")
        terminal.plug()
        await viewer.until("9600 8N1", 2)


async def test_control_lines_are_shown_where_the_port_has_them() -> None:
    said: list[str] = []
    await listen(plan_of(SerialSource(PortUrl("loop://"))), 0.2, said.append)
    assert "control lines: CTS on DSR on RI off CD on" in said


@pytest.mark.needs("pseudo-terminals")
async def test_nothing_is_ever_sent(terminal: PluggedTerminal) -> None:
    asking = FakeLineDrivers(greeting=b"*IDN?\n", acknowledge=b"\x06")
    source = SerialSource(DevicePath(str(terminal.path)))
    async with listening(LinePlan(LineSettings("so2", "bur-1", source), asking)) as viewer:
        await viewer.until("9600 8N1")
        terminal.write(b"pH 3.41\n")
        await viewer.until("read")
    assert viewer.said[0].startswith("this driver asks its instrument; nothing is asked here")
    assert select.select([terminal._far_end()], [], [], 0) == ([], [], [])


@pytest.mark.needs("mosquitto")
async def test_a_broker_is_listened_to_beside_the_daemon(mosquitto: Mosquitto) -> None:
    source = MqttSource(mosquitto.host, "bench/far/so2", "tundish-far", mosquitto.port)
    daemon = MqttLine(source, SystemClock())
    await daemon.open()
    async with listening(plan_of(source)) as viewer:
        await viewer.until("mqtt://")
        await publish(mosquitto, "bench/far/so2", [FRAME])
        await viewer.until("free_so2 29.6 mg/L")
    async with asyncio.timeout(20):
        await daemon.wait()
    assert daemon.take().pieces[0].data == FRAME
    await daemon.close()


async def test_a_line_of_a_far_bench_is_listened_to_there() -> None:
    source = FarSource(MqttSource("broker.example", "t/north/v1/capture/so2", "x"), "north", "so2", "bur-1")
    with pytest.raises(LineNotHeardError, match="is of a far bench; listen to it there"):
        await listen(plan_of(source), None, lambda _text: None)

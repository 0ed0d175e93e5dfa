"""Listening to one line without a daemon."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from acquire.config import CaptureFileSource, DevicePath, LineSettings, SerialSource, Source
from acquire.errors import NotATtyError, PortBusyError
from acquire.registry import DriverRegistry
from tests.fakes.terminal import PluggedTerminal
from tundish.listening import NOTHING_HEARD, listen
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
    assert said[-2:] == ["the line ended: the file was read to its end", f"{len(FRAME)} bytes heard"]


@pytest.mark.needs("pseudo-terminals")
async def test_a_silent_line_says_so_when_the_time_is_over(terminal: PluggedTerminal) -> None:
    said: list[str] = []
    await listen(plan_of(SerialSource(DevicePath(str(terminal.path)))), 0.1, said.append)
    assert said[-2:] == ["0.1 seconds are over", NOTHING_HEARD]


@pytest.mark.needs("pseudo-terminals")
async def test_a_busy_port_is_refused_once_and_nothing_is_said_of_trying_again(
    terminal: PluggedTerminal,
) -> None:
    with (
        serial.Serial(str(terminal.path), exclusive=True),
        pytest.raises(PortBusyError, match=r"is in use by another program; close that program$"),
    ):
        await listen(plan_of(SerialSource(DevicePath(str(terminal.path)))), None, print)


@pytest.mark.needs("pseudo-terminals")
async def test_what_is_no_port_is_refused_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").touch()
    with pytest.raises(NotATtyError, match=r"notes\.txt is not a serial port; name the port's device file"):
        await listen(plan_of(SerialSource(DevicePath(str(tmp_path / "notes.txt")))), None, print)

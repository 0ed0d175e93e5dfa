from dataclasses import dataclass

import pytest

from acquire.config import UsbIdentity
from acquire.errors import PortAbsentError, PortUnavailableError
from acquire.lines.usb import find_port, hardware_of


@dataclass(frozen=True)
class Row:
    device: str
    serial_number: str | None = None
    location: str | None = None
    interface: str | None = None
    vid: int | None = 0x1A2B
    pid: int | None = 0x0003
    hwid: str = "n/a"


def _wanted(
    serial: str | None = None,
    location: str | None = None,
    interface: str | None = None,
    *,
    only: bool = False,
) -> UsbIdentity:
    return UsbIdentity(0x1A2B, 0x0003, serial, interface, location, any=only)


BUILT_IN = Row("/dev/ttyS0", vid=None, pid=None)
A = Row("/dev/ttyUSB0", "A1", "1-1")
B = Row("/dev/ttyUSB1", "B2", "1-2")
PLAIN_1 = Row("/dev/ttyUSB2", None, "1-3")
PLAIN_2 = Row("/dev/ttyUSB3", None, "1-4")
TWIN_0 = Row("/dev/ttyUSB4", "T", "2-1:1.0", "port 0")
TWIN_1 = Row("/dev/ttyUSB5", "T", "2-1:1.1", "port 1")


@pytest.mark.parametrize(
    ("wanted", "rows", "device"),
    [
        (_wanted("B2"), [BUILT_IN, A, B], B.device),
        (_wanted("B2", location="9-9"), [A, B], B.device),  # it moved to another socket
        (_wanted("T", interface="port 1"), [TWIN_0, TWIN_1], TWIN_1.device),
        (_wanted("T", location="2-1:1.0"), [TWIN_0, TWIN_1], TWIN_0.device),
        (_wanted(location="1-4"), [A, PLAIN_1, PLAIN_2], PLAIN_2.device),
        (_wanted(only=True), [BUILT_IN, A], A.device),
    ],
)
def test_finds_the_port_that_the_identity_names(wanted: UsbIdentity, rows: list[Row], device: str) -> None:
    assert find_port(wanted, rows).device == device


@pytest.mark.parametrize(
    ("wanted", "rows", "named"),
    [
        (_wanted("C3"), [A], "/dev/ttyUSB0 (serial A1 location 1-1)"),
        (_wanted("C3", only=True), [A], "serial A1"),
        (_wanted(), [A], "no USB adapter fits"),
        (_wanted(only=True), [A, B], "more than one USB adapter fits"),
        (_wanted("T"), [TWIN_0, TWIN_1], "interface port 1"),
        (_wanted(location="1-1"), [A], "serial A1"),  # another of the make may sit there tomorrow
    ],
)
def test_refuses_to_guess_and_names_the_candidates(wanted: UsbIdentity, rows: list[Row], named: str) -> None:
    with pytest.raises(PortUnavailableError) as refused:
        find_port(wanted, rows)
    assert named in str(refused.value)


def test_an_adapter_that_is_not_there_is_absent() -> None:
    with pytest.raises(PortAbsentError, match="is the cable plugged in"):
        find_port(_wanted("A1"), [BUILT_IN])


def test_the_hardware_of_a_device_is_empty_where_none_is_known() -> None:
    rows = [Row("/dev/x", hwid="USB VID:PID=1A2B:0003"), Row("/dev/y")]
    assert hardware_of("/dev/x", rows) == "USB VID:PID=1A2B:0003"
    assert hardware_of("/dev/y", rows) == hardware_of("/dev/z", rows) == ""

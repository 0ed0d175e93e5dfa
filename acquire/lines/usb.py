"""Find the port of a USB adapter, whatever name the system gave it today."""

from collections.abc import Callable, Iterable, Sequence
from typing import Final, Protocol

from acquire.config import UsbIdentity
from acquire.errors import PortAbsentError, PortUnavailableError


class PortRow(Protocol):
    """One row of the system's table of ports."""

    @property
    def device(self) -> str:
        """Name to open."""

    @property
    def hwid(self) -> str:
        """Hardware identity as text."""

    @property
    def vid(self) -> int | None:
        """USB vendor id."""

    @property
    def pid(self) -> int | None:
        """USB product id."""

    @property
    def serial_number(self) -> str | None:
        """Serial number of the adapter."""

    @property
    def interface(self) -> str | None:
        """Which of an adapter's ports."""

    @property
    def location(self) -> str | None:
        """Place in the USB tree."""


ListPorts = Callable[[], Iterable[PortRow]]

_UNKNOWN_HARDWARE: Final = ("", "n/a")


def list_ports() -> Iterable[PortRow]:
    """Return the ports of this machine."""
    from serial.tools.list_ports import comports  # loads a part for each system

    return list(comports())


def find_port(wanted: UsbIdentity, rows: Iterable[PortRow]) -> PortRow:
    """Return the one port that `wanted` names.

    By serial number where one is named; else by place in the USB tree; else, if `any` allows it, the only
    adapter of that make. Never by a weaker rule than the one asked for: with two instruments on the bench
    that would swap their data.

    Raises
    ------
    PortAbsentError
        If no adapter of that make is present.
    PortUnavailableError
        If none of those present, or more than one, fits; the text names them.
    """
    make = [row for row in rows if (row.vid, row.pid) == (wanted.vid, wanted.pid)]
    if not make:
        raise PortAbsentError(str(wanted), f"no USB adapter {wanted} is present; is the cable plugged in?")
    fitting = _fitting(wanted, make)
    if len(fitting) == 1:
        return fitting[0]
    raise PortUnavailableError(str(wanted), _choice(wanted, make, fitting))


def _fitting(wanted: UsbIdentity, make: Sequence[PortRow]) -> list[PortRow]:
    rows = [row for row in make if wanted.interface in (None, row.interface)]
    if wanted.serial is not None:
        same = [row for row in rows if row.serial_number == wanted.serial]
        there = [row for row in same if row.location == wanted.location]
        return there if len(same) > 1 and wanted.location else same
    if wanted.location is not None:
        there = [row for row in rows if row.location == wanted.location]
        return [row for row in there if row.serial_number is None or wanted.any]
    return rows if wanted.any else []


def _choice(wanted: UsbIdentity, make: Sequence[PortRow], fitting: Sequence[PortRow]) -> str:
    how_many = "more than one USB adapter fits" if fitting else "no USB adapter fits"
    listed = "; ".join(describe(row) for row in (fitting or make))
    return (
        f"{how_many} {wanted}: present are {listed}; name its serial number or, if it has none, its location"
    )


def describe(row: PortRow) -> str:
    """Write a port with all that could name it."""
    parts = (("serial", row.serial_number), ("interface", row.interface), ("location", row.location))
    words = " ".join(f"{name} {value}" for name, value in parts if value)
    return f"{row.device} ({words or 'no serial number, no location'})"


def hardware_of(device: str, rows: Iterable[PortRow]) -> str:
    """Return the hardware identity of a device as text; empty where the system knows none."""
    hwids = (row.hwid for row in rows if row.device == device)
    return next((hwid for hwid in hwids if hwid not in _UNKNOWN_HARDWARE), "")

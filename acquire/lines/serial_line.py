"""A serial port as a line: by device path, pySerial URL or USB identity."""

import asyncio
import contextlib
import os
from pathlib import Path
from typing import Any, Final

import serial
import structlog

from acquire.clock import Clock, now
from acquire.config import DevicePath, FlowControl, PortUrl, SerialSettings, SerialSource, UsbIdentity
from acquire.doctor.evidence import Signals
from acquire.errors import PortLostError, PortUnavailableError
from acquire.events import Instant
from acquire.lines.claim import claim
from acquire.lines.inbox import CAPACITY_BYTES, Inbox
from acquire.lines.port_faults import FAULTS, refusal, refuse_unknown_scheme
from acquire.lines.reader import PortReader
from acquire.lines.together import Together
from acquire.lines.transport import Backlog, Batch, Opened
from acquire.lines.usb import ListPorts, find_port, hardware_of, list_ports

READ_TIMEOUT_S: Final = 0.5  # [s] the longest a reader is away from its stop flag
WRITE_TIMEOUT_S: Final = 2.0  # [s] finite: without one the library waits for ever under XOFF
OPEN_LIMIT_S: Final = 15.0  # [s] a socket gives up by itself after 5
JOIN_LIMIT_S: Final = 3.0  # [s] a thread that hangs longer in the system is left to itself

log = structlog.get_logger()


class SerialLine:
    """One port, opened as often as it comes back."""

    def __init__(
        self,
        source: SerialSource,
        clock: Clock,
        ports: ListPorts = list_ports,
        capacity_bytes: int = CAPACITY_BYTES,
        *,
        together: Together | None = None,
    ) -> None:
        """Take what to open, and what the line shares with others; None if it is alone."""
        self._source = source
        self._clock = clock
        self._ports = ports
        self._capacity_bytes = capacity_bytes
        self._together = together
        self._reader: PortReader | None = None
        self._inbox: Inbox | None = None

    @property
    def takes_bytes(self) -> bool:
        """Always: an instrument may be asked."""
        return True

    @property
    def comes_again(self) -> bool:
        """Never: a wire says everything once."""
        return False

    @property
    def last_round_ns(self) -> int | None:
        """Monotonic time at which the reader last came round; None while there is none. [ns]"""
        return self._reader.last_round_ns if self._reader else None

    @property
    def backlog(self) -> Backlog:
        """What was read and not taken yet."""
        return self._inbox.backlog if self._inbox else Backlog()

    async def open(self) -> Opened:
        """Open the port in a reader thread of its own.

        Raises
        ------
        PortUnavailableError
            If it cannot be opened now; the text says why and what to do.
        NoPortError
            If what is named never becomes a port.
        """
        name = _named(self._source)
        watch, rounds = self._together or Together.in_running_loop(self._clock)
        inbox = Inbox(rounds, self._capacity_bytes)
        reader = PortReader(name, self._open_port, inbox, watch, self._clock)
        self._reader, self._inbox = reader, inbox
        try:
            async with asyncio.timeout(OPEN_LIMIT_S):
                return await reader.start()
        except TimeoutError as error:
            text = f"port {name} did not open within {OPEN_LIMIT_S:g} s; is it stuck?"
            raise PortUnavailableError(name, text) from error

    async def wait(self) -> Instant | None:
        """Wait until there is something to take; cancelling loses nothing."""
        return await self._opened_inbox().wait()

    def take(self) -> Batch:
        """Return, once, all that waits."""
        return self._opened_inbox().take()

    def kept(self) -> None:
        """Do nothing: nobody waits for it."""

    async def send(self, data: bytes) -> None:
        """Put bytes on the wire, in a thread. Raises `TransportError` in finite time if it cannot."""
        if self._reader is None:
            name = _named(self._source)
            raise PortLostError(name, f"{name} is not open; {len(data)} bytes were not sent")
        await asyncio.to_thread(self._reader.write, data)

    def signals(self) -> Signals | None:
        """Return the control lines of the port; None where it has none. From any thread; may take a while."""
        is_socket = isinstance(self._source.port, PortUrl) and self._source.port.url.startswith("socket:")
        return None if self._reader is None or is_socket else self._reader.signals()

    def stop(self) -> None:
        """Tell the reader to end."""
        if self._reader is not None:
            self._reader.stop()

    async def close(self) -> None:
        """Wait for the reader to close the port; one that hangs in the system is left behind."""
        if self._reader is None:
            return
        self._reader.stop()
        if not await self._reader.join(JOIN_LIMIT_S):
            log.error("line.reader_left", device=_named(self._source), waited_s=JOIN_LIMIT_S)
        self._reader = None

    def _opened_inbox(self) -> Inbox:
        if self._inbox is None:
            raise PortLostError(_named(self._source), f"{_named(self._source)} was never opened")
        return self._inbox

    def _open_port(self) -> tuple[serial.Serial, Opened]:
        target = self._target()
        settings = self._source.settings
        refuse_unknown_scheme(target)
        try:
            port = serial.serial_for_url(target, **_arguments(settings, target))
            claim(port)
        except FAULTS as error:
            raise refusal(target, str(settings), error) from error
        return port, Opened(self._describe(target), str(settings), now(self._clock))

    def _target(self) -> str:
        match self._source.port:
            case UsbIdentity() as usb:
                return find_port(usb, self._ports()).device
            case PortUrl(url):
                return url
            case DevicePath(path):
                return path

    def _describe(self, target: str) -> str:
        if _is_url(target):
            return target
        device = str(Path(target).resolve()) if os.name == "posix" else target
        words = [target] if device == target else [target, f"-> {device}"]
        hardware = ""
        with contextlib.suppress(OSError):  # a table that changes under our eyes is no reason to refuse
            hardware = hardware_of(device, self._ports())
        return " ".join([*words, f"({hardware})"] if hardware else words)


def _named(source: SerialSource) -> str:
    match source.port:
        case UsbIdentity() as usb:
            return f"USB adapter {usb}"
        case PortUrl(url):
            return url
        case DevicePath(path):
            return path


def _is_url(target: str) -> bool:
    return "://" in target


def _arguments(settings: SerialSettings, target: str) -> dict[str, Any]:
    """Return all settings for the constructor: the library is not safe to set any of them later."""
    on_network = target.lower().startswith("rfc2217:")  # takes no limit; its socket has one of 5 s
    return {
        "baudrate": settings.baud,
        "bytesize": settings.data_bits,
        "parity": settings.parity.value[0].upper(),
        "stopbits": settings.stop_bits,
        "xonxoff": settings.flow_control is FlowControl.XON_XOFF,
        "rtscts": settings.flow_control is FlowControl.RTS_CTS,
        "dsrdtr": settings.flow_control is FlowControl.DSR_DTR,
        "timeout": READ_TIMEOUT_S,
        "write_timeout": None if on_network else WRITE_TIMEOUT_S,
        "exclusive": True if os.name == "posix" and not _is_url(target) else None,
    }

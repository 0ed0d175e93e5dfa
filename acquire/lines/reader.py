"""The one thread that opens a port, has it read, and closes it.

A thread, so that a busy event loop delays neither reading nor the instants; one thread for all three, since
a port closed under a reader's hands raises what it likes or, on some systems, crashes. A device on Linux is
read by a thread that it shares with others, and closed only when that one has let go of it.
"""

import asyncio
import contextlib
import threading
from collections.abc import Callable

import serial

from acquire.clock import Clock, now
from acquire.doctor.evidence import Signals
from acquire.errors import PortLostError, PortUnavailableError, WriteStoppedError
from acquire.lines.arrivals import Listener, listener_of
from acquire.lines.claim import disclaim
from acquire.lines.device_watch import DeviceWatch
from acquire.lines.inbox import Inbox
from acquire.lines.port_faults import FAULTS
from acquire.lines.transport import End, Opened
from acquire.sink import Ending

OpenPort = Callable[[], tuple[serial.Serial, Opened]]
"""Opens a port; raises `PortUnavailableError` or `NoPortError`. Runs in the thread: it may take its time."""


class PortReader:
    """Reads one port from one opening to its loss or stop."""

    def __init__(
        self, name: str, open_port: OpenPort, inbox: Inbox, watch: DeviceWatch, clock: Clock
    ) -> None:
        self._name = name
        self._open_port = open_port
        self._inbox = inbox
        self._clock = clock
        self._watch = watch
        self._begun_ns = clock.monotonic_ns()
        self._listener: Listener | None = None
        self._loop = asyncio.get_running_loop()
        self._opened: asyncio.Future[Opened] = self._loop.create_future()
        self._finished = asyncio.Event()
        self._port: serial.Serial | None = None
        self._port_lock = threading.Lock()  # guards `_port`, never held while waiting
        self._write_lock = threading.Lock()  # held while writing, so that no port is closed under it
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"line {name}", daemon=True)

    @property
    def last_round_ns(self) -> int:
        """When whoever reads the port last came round. [ns]"""
        listener = self._listener
        return self._begun_ns if listener is None else listener.last_round_ns

    async def start(self) -> Opened:
        """Start the thread and return what it opened; raises what the opening raised."""
        self._thread.start()
        return await self._opened

    def stop(self) -> None:
        """Tell the thread to end. Returns at once; who still awaits the opening gets an error."""
        self._stopping.set()
        self._refuse(PortUnavailableError(self._name, f"{self._name} was stopped while it was being opened"))
        with self._port_lock:
            if self._listener is not None:
                self._listener.cancel()

    async def join(self, limit_s: float) -> bool:
        """Wait until the thread has closed the port and ended; False if it hangs in the system. [s]"""
        try:
            async with asyncio.timeout(limit_s):
                await self._finished.wait()
        except TimeoutError:
            return False
        self._thread.join(timeout=limit_s)  # its last act is done: microseconds
        return True

    def signals(self) -> Signals | None:
        """Return the control lines that the other end drives; None if the port is gone or shows none."""
        with self._write_lock:
            port = self._port
            try:
                return None if port is None else Signals(port.cts, port.dsr, port.ri, port.cd)
            except FAULTS:
                return None

    def write(self, data: bytes) -> None:
        """Put bytes on the wire. Blocks as long as the port's write timeout allows.

        Raises
        ------
        PortLostError
            If the port is gone.
        WriteStoppedError
            If it did not take all of them in time.
        """
        with self._write_lock:
            if self._port is None:
                raise PortLostError(self._name, f"{self._name} is closed; {len(data)} bytes were not sent")
            try:
                self._port.write(data)
            except serial.SerialTimeoutException as error:
                raise WriteStoppedError(self._name, f"{self._name} {_HELD_UP}") from error
            except FAULTS as error:
                raise PortLostError(self._name, f"{self._name} was lost while sending: {error}") from error

    def _run(self) -> None:
        try:
            port, opened = self._open_port()
        except Exception as error:  # whoever awaits the opening must get it, whatever it is
            self._tell(self._refuse, error)
        else:
            self._port = port
            self._tell(self._accept, opened)
            self._inbox_gets_all_of(port)
            self._close(port)
        self._tell(self._finished.set)

    def _inbox_gets_all_of(self, port: serial.Serial) -> None:
        try:
            self._read(port)
            self._inbox.end(End(Ending.STOPPED, "the line was stopped", now(self._clock)))
        except FAULTS as error:
            why = f"{self._name} was lost: {error}"
            self._inbox.end(End(Ending.LOST, why, now(self._clock)))
        except Exception as error:  # whoever awaits the bytes must get it, whatever it is
            self._inbox.fail(error)

    def _read(self, port: serial.Serial) -> None:
        """Listen until told to stop."""
        listener = listener_of(port, self._inbox, self._clock, self._watch)
        with contextlib.closing(listener):
            self._listener = listener
            while not self._stopping.is_set():
                listener.listen()

    def _close(self, port: serial.Serial) -> None:
        with self._write_lock:
            with self._port_lock:
                self._port = self._listener = None
            disclaim(port)
            left_open = getattr(port, "_socket", None)  # the library forgets it if the other end went first
            with contextlib.suppress(*FAULTS):
                port.close()
            if left_open is not None:
                left_open.close()

    def _tell(self, call: Callable[..., None], *args: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
            self._loop.call_soon_threadsafe(call, *args)

    def _accept(self, opened: Opened) -> None:
        if not self._opened.done():
            self._opened.set_result(opened)

    def _refuse(self, error: Exception) -> None:
        if not self._opened.done():
            self._opened.set_exception(error)


_HELD_UP = "took no more bytes; is it held up by XOFF or a control line?"

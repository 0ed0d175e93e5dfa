"""Ports that a program can really open: a pseudo-terminal behind a name that stays, or a TCP address.

A port never blocks and never raises for what a reader does: it says how many bytes it accepted.
"""

import contextlib
import os
import select
import socket
import sys
from pathlib import Path
from typing import Final, Protocol
from urllib.parse import urlsplit

HAS_PTY: Final = hasattr(os, "openpty") and sys.platform != "win32"
FILE_SCHEME: Final = "file:"
TAKE_BYTES: Final = 4096  # [bytes], most that one read takes from a port


class PortError(OSError):
    """A port cannot be made where it was asked for."""


class Port(Protocol):
    """One end of a cable; the program under test opens the other."""

    @property
    def address(self) -> str:
        """What the reader opens: a device path or a ``socket://`` URL."""

    def fileno(self) -> int:
        """Return the descriptor to wait on; -1 while the cable is cut."""

    def is_heard(self) -> bool:
        """Tell whether a reader has the other end open."""

    def put(self, data: bytes) -> int:
        """Put bytes on the line and return how many the line accepted. [bytes]"""

    def take(self) -> bytes:
        """Return what the reader sent; empty if nothing."""

    def cut(self) -> None:
        """Make the port vanish under the reader."""

    def mend(self) -> None:
        """Bring the port back under the same address."""

    def close(self) -> None:
        """Remove the port for good."""


class PtyPort:
    """A pseudo-terminal behind a symbolic link.

    The link is the stable name. While nobody has the terminal open, its master reports a hang-up; that is
    how a listener is noticed without a byte being spent.
    """

    def __init__(self, link: Path) -> None:
        if link.exists() and not link.is_symlink():
            raise PortError(f"{link} is in the way: it is no symbolic link; give another name or remove it")
        self._link = link
        self._master = -1
        self._device = ""
        self.mend()

    @property
    def address(self) -> str:
        """Path of the symbolic link."""
        return str(self._link)

    def fileno(self) -> int:
        """Return the master's descriptor; -1 while the cable is cut."""
        return self._master

    def is_heard(self) -> bool:
        """Tell whether the terminal is open; while it is not, make it ready for the next opening."""
        if self._master < 0:
            return False
        poller = select.poll()
        poller.register(self._master, select.POLLIN)
        if any(event & select.POLLHUP for _, event in poller.poll(0)):
            _make_raw(self._master)
            return False
        return True

    def put(self, data: bytes) -> int:
        """Write to the master; 0 when the terminal's buffer is full or the cable is cut."""
        if self._master < 0:
            return 0
        try:
            return os.write(self._master, data)
        except OSError:
            return 0

    def take(self) -> bytes:
        """Read from the master; a master without a listener answers EIO, which means nothing here."""
        try:
            return os.read(self._master, TAKE_BYTES) if self._master >= 0 else b""
        except OSError:
            return b""

    def cut(self) -> None:
        """Remove the link and hang up: a reader gets what a pulled adapter gives it."""
        if self._master < 0:
            return
        if self._link.is_symlink() and str(self._link.readlink()) == self._device:
            self._link.unlink()
        os.close(self._master)
        self._master = -1

    def mend(self) -> None:
        """Make a new terminal and point the link at it."""
        if self._master >= 0:
            return
        self._master, slave = os.openpty()
        self._device = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self._master, False)
        _make_raw(self._master)
        self._link.parent.mkdir(parents=True, exist_ok=True)
        fresh = self._link.with_name(f".{self._link.name}.{os.getpid()}")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(self._device)
        fresh.replace(self._link)

    def close(self) -> None:
        """Hang up and remove the link."""
        self.cut()


def _make_raw(master: int) -> None:
    """Set the terminal so that bytes pass unchanged and any reader can open it, again and again.

    A pseudo-terminal has no parity and no 7-bit mode; the C library reports that as EINVAL, unless the same
    request also changes something. ECHOK does nothing in raw mode, and readers clear it: setting it before
    each opening leaves them something to change, so an instrument at 7E1 can be opened more than once.
    """
    import termios

    attributes = termios.tcgetattr(master)
    attributes[0] = attributes[1] = 0  # input and output flags: nothing is translated
    attributes[2] = (attributes[2] & ~(termios.CSIZE | termios.PARENB)) | termios.CS8 | termios.CREAD
    attributes[3] = termios.ECHOK
    attributes[6][termios.VMIN], attributes[6][termios.VTIME] = 1, 0
    termios.tcsetattr(master, termios.TCSANOW, attributes)


class TcpPort:
    """A TCP server for one reader at a time, for ``socket://`` addresses."""

    def __init__(self, host: str = "127.0.0.1", port: int = 0) -> None:
        self._host, self._port = host, port
        self._server: socket.socket | None = None
        self._client: socket.socket | None = None
        self.mend()

    @property
    def address(self) -> str:
        """URL that a serial library opens."""
        return f"socket://{self._host}:{self._port}"

    def fileno(self) -> int:
        """Return the reader's descriptor, or the server's while nobody is connected; -1 while cut."""
        end = self._client or self._server
        return -1 if end is None else end.fileno()

    def is_heard(self) -> bool:
        """Tell whether a reader is connected; take the next one in if not."""
        if self._client is None and self._server is not None:
            with contextlib.suppress(BlockingIOError):
                self._client, _ = self._server.accept()
                self._client.settimeout(0.0)
                self._client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return self._client is not None

    def put(self, data: bytes) -> int:
        """Send; 0 when the buffer is full or nobody is connected."""
        if self._client is None:
            return 0
        try:
            return self._client.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._hang_up()
            return 0

    def take(self) -> bytes:
        """Receive; a reader that has gone is let go."""
        if self._client is None:
            return b""
        try:
            data = self._client.recv(TAKE_BYTES)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._hang_up()
        return data

    def cut(self) -> None:
        """Close both the connection and the server: reading fails, and so does connecting again."""
        self._hang_up()
        if self._server is not None:
            self._server.close()
            self._server = None

    def mend(self) -> None:
        """Listen again on the same port."""
        if self._server is not None:
            return
        server = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":  # on Windows the option would let two programs share the port
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            server.bind((self._host, self._port))
        except OSError as error:
            server.close()
            raise PortError(f"TCP port {self._host}:{self._port} cannot be taken: {error}") from error
        server.listen(1)
        server.settimeout(0.0)
        self._server, self._port = server, server.getsockname()[1]

    def close(self) -> None:
        """Stop listening."""
        self.cut()

    def _hang_up(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None


class FolderPort:
    """A folder that an instrument writes one file into: what is put takes the place of all that was there."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._is_cut = False
        file.parent.mkdir(parents=True, exist_ok=True)

    @property
    def address(self) -> str:
        """Path of the folder."""
        return str(self._file.parent)

    def fileno(self) -> int:
        """Return -1: nothing ever comes from a folder."""
        return -1

    def is_heard(self) -> bool:
        """Tell whether the folder is there; who reads in it cannot be known."""
        return not self._is_cut

    def put(self, data: bytes) -> int:
        """Write the file anew; 0 while the folder is away or refuses it."""
        if self._is_cut:
            return 0
        try:
            self._file.write_bytes(data)
        except OSError:
            return 0
        return len(data)

    def take(self) -> bytes:
        """Return nothing."""
        return b""

    def cut(self) -> None:
        """Let the folder be out of reach of the instrument, as a share whose server is off."""
        self._is_cut = True

    def mend(self) -> None:
        """Let it be there again."""
        self._is_cut = False

    def close(self) -> None:
        """Leave the file where it is."""
        self._is_cut = True


def open_port(address: str) -> Port:
    """Return a port at a path, at ``tcp`` (any free one), ``tcp://host:port`` or ``file:PATH``."""
    if address.startswith(FILE_SCHEME):
        return FolderPort(Path(address.removeprefix(FILE_SCHEME)))
    if address == "tcp":
        return TcpPort()
    if address.startswith("tcp://"):
        parts = urlsplit(address)
        return TcpPort(parts.hostname or "127.0.0.1", parts.port or 0)
    if not HAS_PTY:
        raise PortError(f"this system has no pseudo-terminals, so {address} cannot be made; write 'tcp'")
    return PtyPort(Path(address))

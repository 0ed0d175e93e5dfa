"""A serial port on the network as RFC 2217 has it: it notes which line settings it is asked for.

Telnet with the COM-PORT-OPTION (44), written from the standard. It grants what it is asked for, unless it was
told to refuse, plays bytes to whoever is connected, and keeps what they send.
"""

import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Final

IAC, SE, SB, WILL, WONT, DO, DONT = 255, 240, 250, 251, 252, 253, 254
BINARY, ECHO, SUPPRESS_GO_AHEAD, COM_PORT = 0, 1, 3, 44
SET_BAUD, SET_DATA, SET_PARITY, SET_STOP, SET_CONTROL, PURGE = 1, 2, 3, 4, 5, 12
NOTIFY_MODEM_STATE = 7
ANSWER: Final = 100  # the server answers a command by its number plus this
PARITIES: Final = {1: "none", 2: "odd", 3: "even", 4: "mark", 5: "space"}
STOPS: Final = {1: 1.0, 2: 2.0, 3: 1.5}
CONTROLS: Final = {
    1: ("flow_control", "none"),
    2: ("flow_control", "xon_xoff"),
    3: ("flow_control", "rts_cts"),
    8: ("dtr", True),
    9: ("dtr", False),
    11: ("rts", True),
    12: ("rts", False),
}


@dataclass
class AskedFor:
    """The line settings that a client asked for; None while it asked for none."""

    baud: int | None = None
    data_bits: int | None = None
    parity: str | None = None
    stop_bits: float | None = None
    flow_control: str | None = None
    dtr: bool | None = None
    rts: bool | None = None


@dataclass
class NetworkPort:
    """The server; connect to :attr:`url`."""

    grants_baud: bool = True
    speaks_rfc2217: bool = True
    asked_for: AskedFor = field(default_factory=AskedFor)
    heard: bytearray = field(default_factory=bytearray)
    """What the client sent to the instrument."""
    connections: int = 0

    def __post_init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._client: socket.socket | None = None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        host, port = self._listener.getsockname()
        return f"rfc2217://{host}:{port}"

    def say(self, data: bytes) -> None:
        """Let the instrument speak to who is connected and has set the port up."""
        assert self._ready.wait(10), "nobody set the port up"
        assert self._client is not None
        self._client.sendall(data.replace(b"\xff", b"\xff\xff"))

    def tell_control_lines(self, *, cts: bool, dsr: bool, ri: bool, cd: bool) -> None:
        """Tell the client what the instrument drives, as a server does by itself when it changes."""
        assert self._ready.wait(10), "nobody set the port up"
        assert self._client is not None
        state = cts << 4 | dsr << 5 | ri << 6 | cd << 7
        self._client.sendall(bytes((IAC, SB, COM_PORT, NOTIFY_MODEM_STATE + ANSWER, state, IAC, SE)))

    def cut(self) -> None:
        """Drop the connection; the next one is taken."""
        self._ready.clear()
        if self._client is not None:
            with suppress(OSError):  # the client may have gone first
                self._client.shutdown(socket.SHUT_RDWR)  # wakes who waits for its bytes
            self._client.close()

    def close(self) -> None:
        """End."""
        with suppress(OSError):  # not every system can
            self._listener.shutdown(socket.SHUT_RDWR)  # wakes who waits for a connection
        self._listener.close()
        self.cut()
        self._thread.join(5)

    def _serve(self) -> None:
        while True:
            try:
                self._client, _ = self._listener.accept()
            except OSError:
                return
            self.connections += 1
            self._client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._listen(self._client)

    def _listen(self, client: socket.socket) -> None:
        words = _Telnet()
        try:
            while data := client.recv(4096):
                for byte in data:
                    for what, content in words.take(byte):
                        self._answer(client, what, content)
        except OSError:
            return

    def _answer(self, client: socket.socket, what: int, content: bytes) -> None:
        if what == IAC:
            self.heard += content
        elif what in (WILL, DO):
            known = content[0] in (BINARY, SUPPRESS_GO_AHEAD, COM_PORT) and self.speaks_rfc2217
            yes, no = (DO, DONT) if what == WILL else (WILL, WONT)
            client.sendall(bytes((IAC, yes if known else no, content[0])))
        elif what == SB and content[:1] == bytes((COM_PORT,)) and self.speaks_rfc2217:
            value = self._set(content[1], content[2:])
            told = bytes((COM_PORT, content[1] + ANSWER)) + value
            client.sendall(bytes((IAC, SB)) + told.replace(b"\xff", b"\xff\xff") + bytes((IAC, SE)))

    def _set(self, command: int, value: bytes) -> bytes:
        """Note what is asked for and return what is granted."""
        asked = self.asked_for
        if command == SET_BAUD:
            (asked.baud,) = struct.unpack("!I", value)
            return value if self.grants_baud else struct.pack("!I", 9600)
        if command == SET_DATA:
            asked.data_bits = value[0]
        elif command == SET_PARITY:
            asked.parity = PARITIES[value[0]]
        elif command == SET_STOP:
            asked.stop_bits = STOPS[value[0]]
        elif command == SET_CONTROL and value[0] in CONTROLS:
            setattr(asked, *CONTROLS[value[0]])
        elif command == NOTIFY_MODEM_STATE:
            return b"\x30"  # CTS and DSR
        elif command == PURGE:
            self._ready.set()  # the last thing that a client asks for before it listens
        return value


class _Telnet:
    """Takes a stream of Telnet apart: bytes of the wire, negotiations and subnegotiations."""

    def __init__(self) -> None:
        self._command: int | None = None
        self._option: bytearray | None = None

    def take(self, byte: int) -> Iterator[tuple[int, bytes]]:
        """Yield what a byte completes: a command with what it is about, IAC for a byte of the wire."""
        if self._command == IAC:
            self._command = None
            if byte == IAC:
                yield from self._plain(byte)
            elif byte == SB:
                self._option = bytearray()
            elif byte == SE and self._option is not None:
                option, self._option = bytes(self._option), None
                yield SB, option
            else:
                self._command = byte
        elif self._command is not None:
            command, self._command = self._command, None
            yield command, bytes((byte,))
        elif byte == IAC:
            self._command = IAC
        else:
            yield from self._plain(byte)

    def _plain(self, byte: int) -> Iterator[tuple[int, bytes]]:
        if self._option is None:
            yield IAC, bytes((byte,))
        else:
            self._option.append(byte)


@contextmanager
def network_port(*, grants_baud: bool = True, speaks_rfc2217: bool = True) -> Iterator[NetworkPort]:
    """Give a port on the network for as long as a test needs it."""
    port = NetworkPort(grants_baud, speaks_rfc2217)
    try:
        yield port
    finally:
        port.close()

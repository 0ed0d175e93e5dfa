"""What a line needs to know, as values; whoever reads a configuration builds them."""

import re
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Final


class Parity(StrEnum):
    """The check bit of each character."""

    NONE = "none"
    EVEN = "even"
    ODD = "odd"
    MARK = "mark"
    SPACE = "space"


class FlowControl(StrEnum):
    """How one end asks the other to wait."""

    NONE = "none"
    XON_XOFF = "xon_xoff"
    RTS_CTS = "rts_cts"
    DSR_DTR = "dsr_dtr"


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """How bits go over the wire."""

    baud: int = 9600
    """[bit/s]"""
    data_bits: int = 8
    parity: Parity = Parity.NONE
    stop_bits: float = 1
    flow_control: FlowControl = FlowControl.NONE

    def __str__(self) -> str:
        """Write them the usual short way, such as ``9600 8N1``."""
        short = f"{self.baud} {self.data_bits}{self.parity.value[0].upper()}{self.stop_bits:g}"
        return short if self.flow_control is FlowControl.NONE else f"{short} {self.flow_control}"


_SHORT_SETTINGS: Final = re.compile(r"\d+ ([5-8])[NEOMS][12.5]+(?: .*)?")


def data_bits_of(settings: str) -> int | None:
    """Return the data bits of serial settings in their short way; None of other texts."""
    short = _SHORT_SETTINGS.fullmatch(settings)
    return int(short[1]) if short else None


@dataclass(frozen=True, slots=True)
class DevicePath:
    """A port by the name the system gives it, such as ``/dev/ttyUSB0`` or ``COM7``."""

    path: str


@dataclass(frozen=True, slots=True)
class PortUrl:
    """A port by a pySerial URL, such as ``socket://192.0.2.7:4001``."""

    url: str


@dataclass(frozen=True, slots=True)
class UsbIdentity:
    """A port by the USB adapter it sits on; looked up again at every opening."""

    vid: int
    pid: int
    serial: str | None = None
    interface: str | None = None
    location: str | None = None
    any: bool = False
    """Take the only adapter of this make that is present, when it cannot be told apart otherwise."""

    def __str__(self) -> str:
        """Write it as the table of ports does."""
        more = (("serial", self.serial), ("interface", self.interface), ("location", self.location))
        words = [f"{self.vid:04x}:{self.pid:04x}", *(f"{name} {value}" for name, value in more if value)]
        return " ".join(words)


@dataclass(frozen=True, slots=True)
class SerialSource:
    """Bytes from a serial port."""

    port: DevicePath | PortUrl | UsbIdentity
    settings: SerialSettings = field(default_factory=SerialSettings)


@dataclass(frozen=True, slots=True)
class CaptureFileSource:
    """Bytes from a file, read once from its beginning to its end."""

    path: Path
    pace_baud: int | None = None
    """Deliver the bytes as slowly as a wire of this speed would; None: as fast as they are taken. [bit/s]"""


@dataclass(frozen=True, slots=True)
class TlsSettings:
    """How a connection is encrypted; without a file of authorities those of the system count."""

    authorities: Path | None = None
    certificate: Path | None = None
    """Our own, where the broker asks for one."""
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class MqttSource:
    """Bytes that something far away publishes to a topic of an MQTT broker."""

    host: str
    topic: str
    """Of one instrument: no wildcards."""
    client_id: str
    """The broker keeps what came while we were away under this name; no other program may use it."""
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: TlsSettings | None = None
    session_expiry_s: int = 604_800
    """How long the broker keeps messages for a line that is away. [s]"""

    def __str__(self) -> str:
        """Write it as a URL, without anything secret."""
        return f"{'mqtt' if self.tls is None else 'mqtts'}://{self.host}:{self.port}/{self.topic}"


@dataclass(frozen=True, slots=True)
class FarSource:
    """What a far bench publishes of one of its lines."""

    mqtt: MqttSource
    site: str
    line: str
    """The name there."""
    instrument: str
    """The name there."""
    url: str | None = None
    """Of the far bench's REST interface, where what the broker lost is fetched."""
    key: str | None = field(default=None, repr=False)

    def __str__(self) -> str:
        """Write it as the topic's URL."""
        return str(self.mqtt)


@dataclass(frozen=True, slots=True)
class FolderSource:
    """Bytes from the files that a program drops into a folder."""

    folder: Path
    patterns: tuple[str, ...] = ("*",)
    """Of which the name of a file must fit one, such as ``*.csv``."""
    poll_s: float = 2.0
    """How often the folder is looked at. [s]"""
    quiet_s: float = 2.0
    """How long a new or rewritten file must not change before it is read. [s]"""


Source = SerialSource | CaptureFileSource | MqttSource | FarSource | FolderSource


@dataclass(frozen=True, slots=True)
class LineSettings:
    """One listening connection."""

    name: str
    instrument: str
    """Whose bytes they are."""
    source: Source

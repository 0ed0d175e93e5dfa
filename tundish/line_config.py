"""What a configuration says of one line: a table ``[[line]]`` of the file, or the body of a request."""

from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from acquire.errors import UnknownSchemeError
from acquire.lines.port_faults import refuse_unknown_scheme

NAME = r"^[a-z0-9][a-z0-9-]{0,39}$"
"""Names of lines and instruments: they stand in URLs, topics and sheets."""

LEVELS = r"^[A-Za-z0-9._-]+(/[A-Za-z0-9._-]+)*$"
"""One or more levels of a topic, without wildcards and without ``$``, which is the broker's own."""


class Part(BaseModel):
    """A table of the file: nothing unknown in it, nothing changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class LineConfig(Part):
    """What every kind of line has."""

    name: str = Field(pattern=NAME)
    instrument: str = Field(pattern=NAME)
    """Whose bytes they are."""
    driver: str
    """Name of a shipped or installed driver, or the path of a driver file ending in ``.toml``."""
    options: dict[str, Any] = Field(default_factory=dict)
    """What a driver made of code wants to know; each has its own and checks them."""
    stopped: bool = False
    """List the line without opening it, until somebody starts it."""


class UsbConfig(Part):
    """Which USB adapter a port sits on, whatever name the system gives it today."""

    vid: int = Field(ge=0, le=0xFFFF)
    pid: int = Field(ge=0, le=0xFFFF)
    serial: str | None = None
    interface: str | None = None
    location: str | None = None
    any: bool = False
    """Take the only adapter of this make that is present, when it cannot be told apart otherwise."""


class SerialLineConfig(LineConfig):
    """A serial port, by device path, pySerial URL or USB identity."""

    kind: Literal["serial"]
    device: str | None = None
    url: str | None = None
    usb: UsbConfig | None = None
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stop_bits: float = 1
    flow_control: Literal["none", "xon_xoff", "rts_cts", "dsr_dtr"] = "none"

    @field_validator("device", "url")
    @classmethod
    def _known_scheme(cls, target: str | None) -> str | None:
        try:
            refuse_unknown_scheme(target or "")
        except UnknownSchemeError as error:
            raise ValueError(str(error)) from error
        return target

    @field_validator("stop_bits")
    @classmethod
    def _known_stop_bits(cls, bits: float) -> float:
        if bits not in (1, 1.5, 2):
            raise ValueError(f"wants 1, 1.5 or 2, got {bits:g}")
        return bits

    @model_validator(mode="after")
    def _one_way_to_find_it(self) -> Self:
        given = [key for key in ("device", "url", "usb") if getattr(self, key) is not None]
        if len(given) != 1:
            came = " and ".join(given) or "none of them"
            raise ValueError(f"wants exactly one of device, url or usb, got {came}")
        return self


class CaptureFileLineConfig(LineConfig):
    """A file of captured bytes, read once from its beginning to its end."""

    kind: Literal["capture-file"]
    path: str


class TlsConfig(Part):
    """How the connection to a broker is encrypted; an empty table trusts the authorities of the system."""

    ca_file: str | None = None
    """The authority that signed the broker's certificate; a relative path counts from the configuration."""
    cert_file: str | None = None
    """Our own certificate, where the broker asks for one."""
    key_file: str | None = None


class BrokerConfig(Part):
    """How a broker is reached."""

    host: str = Field(min_length=1)
    port: int | None = Field(default=None, ge=1, le=65535)
    """By default 1883, or 8883 with TLS."""
    user: str | None = None
    password_env: str | None = None
    """The environment variable that holds the password."""
    password_file: str | None = None
    """The file whose first line is the password."""
    tls: TlsConfig | None = None

    @model_validator(mode="after")
    def _at_most_one_password(self) -> Self:
        if self.password_env is not None and self.password_file is not None:
            raise ValueError("wants at most one of password_env and password_file, got both")
        if self.user is None and (self.password_env or self.password_file):
            raise ValueError("has a password and no user; say user = ...")
        return self


class MqttLineConfig(LineConfig, BrokerConfig):
    """A topic of an MQTT broker, to which something far away publishes what its instrument sends."""

    kind: Literal["mqtt"]
    topic: str = Field(min_length=1, max_length=65_535)
    client_id: str | None = Field(default=None, pattern=r"^[A-Za-z0-9._-]{1,64}$")
    """By default made of the names of this machine and of the line."""

    @field_validator("topic")
    @classmethod
    def _of_one_instrument(cls, topic: str) -> str:
        if "+" in topic or "#" in topic or "\0" in topic:
            raise ValueError("wants the topic of one instrument, without the wildcards + and #")
        return topic


class FarLineConfig(LineConfig, BrokerConfig):
    """A line of a far bench, whose daemon publishes what it hears to a broker."""

    kind: Literal["far"]
    site: str = Field(pattern=NAME)
    """Under which the far bench publishes."""
    root: str = Field(default="tundish", pattern=LEVELS, max_length=200)
    """What its topics begin with."""
    far_line: str = Field(pattern=NAME)
    """The name of the line there."""
    far_instrument: str = Field(pattern=NAME)
    """The name of the instrument there."""
    client_id: str | None = Field(default=None, pattern=r"^[A-Za-z0-9._-]{1,64}$")
    """By default made of the names of this machine and of the line."""
    url: str | None = Field(default=None, pattern=r"^https?://[^/?#]+/?$")
    """Of the far daemon, to fetch from it what the broker lost."""
    key_env: str | None = None
    """The environment variable that holds the key for that."""
    key_file: str | None = None
    """The file whose first line is the key."""

    @model_validator(mode="after")
    def _at_most_one_key(self) -> Self:
        if self.key_env is not None and self.key_file is not None:
            raise ValueError("wants at most one of key_env and key_file, got both")
        if self.url is None and (self.key_env or self.key_file):
            raise ValueError("has a key and no url; say url = ...")
        return self


class FolderLineConfig(LineConfig):
    """A folder into which a program drops files; they are only read."""

    kind: Literal["folder"]
    path: str
    """A relative path counts from the folder of the configuration file."""
    patterns: tuple[str, ...] = Field(default=("*",), min_length=1)
    """Of which the name of a file must fit one, in any case of its letters, such as ``*.csv``."""
    poll_s: float = Field(default=2.0, ge=0.1, le=3600)
    """How often the folder is looked at. [s]"""
    quiet_s: float = Field(default=2.0, ge=0, le=3600)
    """How long a new or rewritten file must not change before it is read. [s]"""


AnyLineConfig = Annotated[
    SerialLineConfig | CaptureFileLineConfig | MqttLineConfig | FarLineConfig | FolderLineConfig,
    Field(discriminator="kind"),
]


class LinesTable(Part):
    """Nothing but lines."""

    line: tuple[AnyLineConfig, ...]

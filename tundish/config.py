"""The configuration: one TOML file, strict and frozen, every fault told at once with its place.

Environment variables named ``TUNDISH_<TABLE>__<KEY>`` (such as ``TUNDISH_API__PORT``) win over the file;
nothing else in the program reads settings from the environment.
"""

import tomllib
from collections import Counter
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict, SettingsError

NAME = r"^[a-z0-9][a-z0-9-]{0,39}$"
"""Names of lines and instruments: they stand in URLs, topics and sheets."""


class ConfigError(Exception):
    """The configuration cannot be used; `faults` says everything that is wrong with it."""

    def __init__(self, source: str, faults: list[str]) -> None:
        self.source = source
        self.faults = faults
        super().__init__("\n".join(f"{source}: {fault}" for fault in faults))


class Part(BaseModel):
    """A table of the file: nothing unknown in it, nothing changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class StoreConfig(Part):
    """Where what was heard is kept."""

    path: str = "tundish.db"
    """File of the embedded store; a relative path counts from the folder of the configuration file."""
    kind: Literal["real", "demo", "practice"] = "real"
    """What the numbers in it are. Stores of different kinds never mix."""
    spool_mib: int = Field(default=64, ge=1, le=4096)
    """Greatest size of what waits in memory while the store cannot be written. [MiB]"""


class ApiConfig(Part):
    """Where readings are served."""

    host: Literal["127.0.0.1", "::1", "localhost"] = "127.0.0.1"
    """Loopback only: there are no keys yet that could protect a network address."""
    port: int = Field(default=8710, ge=1, le=65535)
    allowed_hosts: tuple[str, ...] = ()
    """Further names that a browser on this machine may use for it in the Host header."""


class LogConfig(Part):
    """What is logged, and how."""

    level: Literal["debug", "info", "warning", "error"] = "info"
    form: Literal["text", "json"] = "text"


class LineConfig(Part):
    """What every kind of line has."""

    name: str = Field(pattern=NAME)
    instrument: str = Field(pattern=NAME)
    """Whose bytes they are."""
    driver: str
    """Name of a shipped or installed driver, or the path of a driver file ending in ``.toml``."""


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


AnyLineConfig = Annotated[SerialLineConfig | CaptureFileLineConfig, Field(discriminator="kind")]


class Config(BaseSettings):
    """The whole file."""

    model_config = SettingsConfigDict(
        env_prefix="TUNDISH_",
        env_nested_delimiter="__",
        extra="forbid",
        frozen=True,
        nested_model_default_partial_update=True,
    )

    store: StoreConfig = StoreConfig()
    api: ApiConfig = ApiConfig()
    log: LogConfig = LogConfig()
    line: tuple[AnyLineConfig, ...] = ()

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],  # noqa: ARG003 - the signature is the library's
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,  # noqa: ARG003
        file_secret_settings: PydanticBaseSettingsSource,  # noqa: ARG003
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Let the environment win over the file, and read no other source."""
        return env_settings, init_settings

    @field_validator("line")
    @classmethod
    def _names_are_unique(cls, lines: tuple[AnyLineConfig, ...]) -> tuple[AnyLineConfig, ...]:
        twice = [name for name, count in Counter(line.name for line in lines).items() if count > 1]
        if twice:
            raise ValueError(f"each line needs a name of its own; used more than once: {', '.join(twice)}")
        return lines


def _place(location: tuple[int | str, ...], table: dict[str, Any]) -> str:
    """Write where a fault lies, with the name of the line instead of its number where it has one."""
    words: list[str] = []
    here: Any = table
    for step in location:
        if isinstance(step, int):
            here = here[step] if isinstance(here, list) and step < len(here) else None
            name = here.get("name") if isinstance(here, dict) else None
            words[-1:] = [f"{words[-1]}[{name or step}]"]
        elif isinstance(here, dict) and step in ("serial", "capture-file") and here.get("kind") == step:
            continue  # the library names the chosen kind as a step of its own
        else:
            here = here.get(step) if isinstance(here, dict) else None
            words.append(step)
    return ".".join(words)


def _fault(error: Any, table: dict[str, Any]) -> str:
    """Write one fault of the library's list as: place, what is wrong, what came."""
    place, kind = _place(error["loc"], table), error["type"]
    if kind == "extra_forbidden":
        return f"{place}: this key is not known here"
    if kind == "union_tag_invalid":
        return (
            f"{place}.kind: there is no kind {error['ctx']['tag']!r}; known: {error['ctx']['expected_tags']}"
        )
    if kind == "union_tag_not_found":
        return f"{place}.kind: is missing; it says what sort of line this is"
    if kind == "missing":
        return f"{place}: is missing"
    if kind == "value_error":
        return f"{place}: {error['ctx']['error']}"
    return f"{place}: {error['msg'][0].lower()}{error['msg'][1:]} (got {error['input']!r})"


def _environment_fault(error: SettingsError) -> str:
    """Say which variable the library could not read; its own words name only the table."""
    tables = [name for name in Config.model_fields if f'"{name}"' in str(error)]
    names = " or ".join(f"TUNDISH_{name.upper()}" for name in tables)
    return f"{names} is no JSON; set single values as TUNDISH_<TABLE>__<KEY>, and lines in the file"


def read_table(path: Path) -> dict[str, Any]:
    """Read a configuration file as it stands, whatever it says.

    Raises
    ------
    ConfigError
        If the file cannot be read or is not TOML.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ConfigError(str(path), [f"cannot be read: {error.strerror}"]) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError(str(path), [f"is not TOML: {error}"]) from error


def load_config(path: Path) -> Config:
    """Read and check a configuration file.

    Raises
    ------
    ConfigError
        If the file cannot be read, is not TOML, or anything in it is wrong; all faults at once.
    """
    table = read_table(path)
    try:
        return Config(**table)
    except SettingsError as error:
        raise ConfigError("environment", [_environment_fault(error)]) from error
    except ValidationError as error:
        raise ConfigError(str(path), [_fault(one, table) for one in error.errors()]) from error

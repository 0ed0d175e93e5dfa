"""The configuration: one TOML file, strict and frozen, every fault told at once with its place.

Environment variables named ``TUNDISH_<TABLE>__<KEY>`` (such as ``TUNDISH_API__PORT``) win over the file;
beside them, only passwords are read from the environment, from variables that the file names.
"""

import tomllib
from collections import Counter
from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, SecretStr, ValidationError, field_validator, model_validator
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict, SettingsError

from tundish.config_faults import ConfigError, environment_fault_in_words, fault_in_words
from tundish.line_config import AnyLineConfig, LinesTable, Part
from tundish.lines_file import LinesFile, merged
from tundish.network_config import NetworkConfig
from tundish.publish_config import PublishConfig


class StoreConfig(Part):
    """Where what was heard is kept."""

    path: str = "tundish.db"
    """File of the embedded store; a relative path counts from the folder of the configuration file."""
    url: SecretStr | None = None
    """A database of a PostgreSQL server instead of a file; goes before `path`."""
    password_env: str | None = None
    """The environment variable that holds the password for `url`."""
    password_file: str | None = None
    """The file whose first line is that password."""
    kind: Literal["real", "demo", "practice"] = "real"
    """What the numbers in it are. Stores of different kinds never mix."""
    spool_mib: int = Field(default=64, ge=1, le=4096)
    """Greatest size of what waits in memory while the store cannot be written. [MiB]"""

    @field_validator("url")
    @classmethod
    def _of_a_known_kind(cls, url: SecretStr | None) -> SecretStr | None:
        if url is not None and not url.get_secret_value().startswith(("postgresql://", "postgres://")):
            raise ValueError("wants postgresql://USER@HOST:PORT/DATABASE; a file is named by path")
        return url

    @model_validator(mode="after")
    def _one_password(self) -> Self:
        if self.password_env is not None and self.password_file is not None:
            raise ValueError("wants at most one of password_env and password_file, got both")
        if self.url is None and (self.password_env or self.password_file):
            raise ValueError("has a password and no url")
        return self


class ApiConfig(Part):
    """Where readings are served."""

    host: Literal["127.0.0.1", "::1", "localhost"] = "127.0.0.1"
    """Loopback only; a network address is served beside it, by the table ``[network]``."""
    port: int = Field(default=8710, ge=1, le=65535)
    allowed_hosts: tuple[str, ...] = ()
    """Further names that a browser on this machine may use for it in the Host header."""
    keyless: bool = True
    """Whether what comes from this machine without a key may do everything; False where a proxy or people
    without rights sit on it."""
    audit_reads: bool = False
    """Whether each read is logged with the name of its key, its address and what was asked."""

    @property
    def address(self) -> str:
        """Where it serves, as a URL without a path."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"http://{host}:{self.port}"


class LogConfig(Part):
    """What is logged, and how."""

    level: Literal["debug", "info", "warning", "error"] = "info"
    form: Literal["text", "json"] = "text"


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
    network: NetworkConfig | None = None
    """Where the network is served; nowhere if it is left out."""
    log: LogConfig = LogConfig()
    publish: PublishConfig | None = None
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


def read_table(path: Path) -> dict[str, Any]:
    """Read a configuration as it stands, whatever it says, with the lines that are kept beside it.

    Raises
    ------
    ConfigError
        If a file cannot be read or is not TOML.
    """
    return merged(_file_table(path), LinesFile(path).read())


def _file_table(path: Path) -> dict[str, Any]:
    try:
        return _with_store_table(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise ConfigError(str(path), [f"cannot be read: {error.strerror}"]) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError(str(path), [f"is not TOML: {error}"]) from error


def _with_store_table(table: dict[str, Any]) -> dict[str, Any]:
    """Return a configuration in which a bare address, ``store = "…"``, became a table."""
    store = table.get("store")
    if not isinstance(store, str):
        return table
    return table | {"store": {"url" if "://" in store else "path": store}}


def load_config(path: Path) -> Config:
    """Read and check a configuration file, with the lines that are kept beside it.

    Raises
    ------
    ConfigError
        If the file cannot be read, is not TOML, or anything in it is wrong; all faults at once.
    """
    lines_file = LinesFile(path)
    kept = lines_file.read()
    table = merged(_file_table(path), kept)
    try:
        return Config(**table)
    except SettingsError as error:
        raise ConfigError(
            "environment", [environment_fault_in_words(error, list(Config.model_fields))]
        ) from error
    except ValidationError as error:
        faults = [_from_its_file(one, table, kept, lines_file) for one in error.errors()]
        raise ConfigError(str(path), faults) from error


def own_lines(path: Path) -> dict[str, dict[str, Any]]:
    """Return the lines that stand in a configuration file itself, by name, as their tables read once checked.

    One that cannot be used as it stands there, because another stands beside it, comes as it is.
    """
    found: dict[str, dict[str, Any]] = {}
    for one in _file_table(path).get("line", []):
        try:
            (line,) = LinesTable.model_validate({"line": [one]}).line
        except ValidationError:
            if isinstance(one, dict) and isinstance(one.get("name"), str):
                found[one["name"]] = one
        else:
            found[line.name] = line.model_dump(mode="json", exclude_unset=True)
    return found


def _from_its_file(error: Any, table: dict[str, Any], kept: list[Any], file: LinesFile) -> str:
    """Write one fault; begin with the name of the file beside the configuration if it lies there."""
    words = fault_in_words(error, table)
    first, *rest = error["loc"]
    if first == "line" and rest and any(table["line"][rest[0]] is one for one in kept):
        return f"{file.path.name}: {words}"
    return words

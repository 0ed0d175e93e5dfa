"""Which files and passwords a line may name that comes over the API.

Whoever reaches the API must not read, by way of a line, what only the daemon's account may read, nor send
it away.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

FILE_KEYS: Final = frozenset({"path", "folder", "password_file", "ca_file", "cert_file", "key_file"})
"""Keys of a line that name a file or a folder to be read; a driver is one if it ends in ``.toml``."""


def secrets_elsewhere(table: Mapping[str, Any], before: Mapping[str, Any]) -> list[str]:
    """Return a fault for a variable of the environment that the line did not name before."""
    named = table.get("password_env")
    if named is None or named == before.get("password_env"):
        return []
    place = f"line[{table.get('name', 0)}].password_env"
    advice = "name it in the configuration file itself, or use a password_file beside that"
    return [f"{place}: cannot be named over the API (got {named!r}); {advice}"]


def files_elsewhere(table: Mapping[str, Any], folder: Path, before: Mapping[str, Any]) -> list[str]:
    """Return a fault for each file of a line that lies outside a folder.

    Parameters
    ----------
    table : mapping
        What a configuration would say of the line.
    folder : Path
        Of the configuration file, with its links resolved.
    before : mapping
        What it says of the line now: files that are named there may be named again.
    """
    known = set(_files(before, ""))
    return [
        f"line[{table.get('name', 0)}].{place}: wants a file below {folder} (got {name!r}); "
        "name files elsewhere in the configuration file itself"
        for place, name in _files(table, "")
        if (place, name) not in known and not _is_below(folder, name)
    ]


def _files(table: Mapping[str, Any], above: str) -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _files(value, f"{above}{key}.")
        elif isinstance(value, str) and (key in FILE_KEYS or (key == "driver" and value.endswith(".toml"))):
            yield f"{above}{key}", value


def _is_below(folder: Path, name: str) -> bool:
    return "\0" not in name and (folder / name).resolve().is_relative_to(folder)

"""The file beside the configuration in which the daemon keeps what was done to lines while it ran.

The configuration itself belongs to people: their comments, their order. What is changed over the API stands
in a file of its own, whose tables go before the configuration's of the same name.
"""

import os
import tempfile
import tomllib
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from tundish.config_faults import ConfigError
from tundish.toml_text import array_of_tables

HEAD = """\
# Written by tundish: lines that were added, changed or stopped while it ran.
# A line here goes before the one of the same name in {config}. Take a table out, and reload, to go back.

"""


class LinesFile:
    """``tundish.lines.toml`` beside ``tundish.toml``; not there while nothing was changed."""

    def __init__(self, config: Path) -> None:
        self._config = config
        self.path = config.with_name(f"{config.stem}.lines.toml")

    def read(self) -> list[Any]:
        """Return the tables that it holds, unchecked.

        Raises
        ------
        ConfigError
            If it cannot be read, or holds anything but lines.
        """
        try:
            table = tomllib.loads(self.path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return []
        except OSError as error:
            raise ConfigError(str(self.path), [f"cannot be read: {error.strerror}"]) from error
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise ConfigError(str(self.path), [f"is not TOML: {error}"]) from error
        lines = table.pop("line", [])
        if table or not isinstance(lines, list):
            raise ConfigError(
                str(self.path), ["holds tables [[line]] and nothing else; mend it or take it away"]
            )
        return lines

    def write(self, tables: list[dict[str, Any]]) -> None:
        """Put tables in the place of those before, whole or not at all; raises `OSError` if it cannot."""
        if not tables:
            self.path.unlink(missing_ok=True)
            return
        text = HEAD.format(config=self._config.name) + array_of_tables("line", tables)
        descriptor, name = tempfile.mkstemp(prefix=f".{self.path.name}.", dir=self.path.parent)
        unfinished = Path(name)
        try:
            with open(descriptor, "w", encoding="utf-8") as file:  # noqa: PTH123 - by its descriptor
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            unfinished.chmod(0o644)
            unfinished.replace(self.path)
        finally:
            with suppress(OSError):
                unfinished.unlink(missing_ok=True)


def merged(table: dict[str, Any], kept: Iterable[Any]) -> dict[str, Any]:
    """Return a configuration with kept lines in the place of those of the same name, others after them."""
    lines = table.get("line", [])
    if not isinstance(lines, list):
        return table  # a fault of the file itself
    by_name = {one["name"]: one for one in kept if isinstance(one, dict) and isinstance(one.get("name"), str)}
    names = [one.get("name") for one in lines if isinstance(one, dict)]
    own = [by_name.get(one.get("name"), one) if isinstance(one, dict) else one for one in lines]
    added = [one for name, one in by_name.items() if name not in names]
    nameless = [one for one in kept if not (isinstance(one, dict) and isinstance(one.get("name"), str))]
    together = [*own, *added, *nameless]
    return {**table, "line": together} if together else table

"""What is wrong with a configuration, in words: each fault with its place in the file."""

from typing import Any

from pydantic_settings import SettingsError


class ConfigError(Exception):
    """The configuration cannot be used; `faults` says everything that is wrong with it."""

    def __init__(self, source: str, faults: list[str]) -> None:
        self.source = source
        self.faults = faults
        super().__init__("\n".join(f"{source}: {fault}" for fault in faults))


def fault_in_words(error: Any, table: dict[str, Any]) -> str:
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


def environment_fault_in_words(error: SettingsError, tables: list[str]) -> str:
    """Say which variable the library could not read; its own words name only the table."""
    named = [name for name in tables if f'"{name}"' in str(error)]
    names = " or ".join(f"TUNDISH_{name.upper()}" for name in named)
    return f"{names} is no JSON; set single values as TUNDISH_<TABLE>__<KEY>, and lines in the file"


def _place(location: tuple[int | str, ...], table: dict[str, Any]) -> str:
    """Write where a fault lies, with the name of the line instead of its number where it has one."""
    words: list[str] = []
    here: Any = table
    for step in location:
        if isinstance(step, int):
            here = here[step] if isinstance(here, list) and step < len(here) else None
            name = here.get("name") if isinstance(here, dict) else None
            words[-1:] = [f"{words[-1]}[{name or step}]"]
        elif isinstance(here, dict) and here.get("kind") == step:
            continue  # the library names the chosen kind as a step of its own
        else:
            here = here.get(step) if isinstance(here, dict) else None
            words.append(step)
    return ".".join(words)

"""Tables written as TOML text: what the standard library reads and does not write."""

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


def array_of_tables(name: str, tables: list[dict[str, Any]]) -> str:
    """Return ``[[name]]`` tables as text; values are text, numbers, truth values, lists and tables.

    Raises
    ------
    ValueError
        If a text in it is no Unicode text, or a value is of another kind.
    """
    parts = [
        f"[[{name}]]\n" + "".join(_pair(key, value) + "\n" for key, value in one.items()) for one in tables
    ]
    text = "\n".join(parts)
    text.encode()
    return text


def _pair(key: str, value: Any) -> str:
    return f"{key if _BARE_KEY.fullmatch(key) else _text(key)} = {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(one) for one in value)}]"
    if isinstance(value, Mapping):
        return f"{{ {', '.join(_pair(key, one) for key, one in value.items())} }}"
    raise ValueError(f"TOML has no {type(value).__name__}")


def _text(text: str) -> str:
    # JSON escapes the same characters, but for one.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")

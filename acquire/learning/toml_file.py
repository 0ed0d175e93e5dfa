"""A driver file as text, in the manner of those that people write."""

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from acquire.drivers.escapes import CODECS, Encoding

_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)
_SHORT: Final = {"\r": r"\r", "\n": r"\n", "\t": r"\t", "\f": r"\f", "\0": r"\0", "\\": r"\\"}
_RAW_KEYS: Final = frozenset(
    {
        "ends",
        "start",
        "filler",
        "ignore",
        "prompts",
        "ignore_lines",
        "begin",
        "end",
        "mark",
        "separator",
        "rows",
    }
    | {"between", "label_end", "raw"}
)
"""Keys whose texts stand for bytes: written in single quotes, with our escapes."""
_ORDER: Final = ("framing", "block", "check", "numbers", "tokens", "range_marks", "units", "time")


def escaped(data: bytes, encoding: Encoding) -> str:
    """Return the text of a driver file that stands for some bytes, whatever they are."""
    text = data.decode(
        CODECS[encoding], "surrogateescape" if encoding in ("utf-8", "ascii", "7bit") else "replace"
    )
    if encoding == "cp1252" or "\ufffd" in text:
        return "".join(_escaped_byte(byte) for byte in data)
    return "".join(_escaped_character(one) for one in text)


def _escaped_byte(byte: int) -> str:
    return _escaped_character(chr(byte)) if byte < 0x80 else rf"\x{byte:02X}"


def _escaped_character(one: str) -> str:
    if one in _SHORT:
        return _SHORT[one]
    if "\udc80" <= one <= "\udcff":
        return rf"\x{ord(one) - 0xDC00:02X}"
    if one == "'" or ord(one) < 0x20 or 0x7F <= ord(one) < 0xA0:
        return "".join(rf"\x{byte:02X}" for byte in one.encode("utf-8"))
    return one


def driver_text(
    head: Mapping[str, Any], tables: Mapping[str, Any], examples: Sequence[Mapping[str, Any]]
) -> str:
    """Return the text of a driver file."""
    parts = ["".join(_pair(key, value) for key, value in head.items())]
    parts += [_table(name, tables[name]) for name in _ORDER if name in tables]
    for name in ("delimited", "fixed"):
        if name in tables:
            parts += _rows(name, tables[name])
    if "labelled" in tables:
        parts.append(_table("labelled", tables["labelled"]))
    parts += ["[[examples]]\n" + "".join(_pair(key, value) for key, value in one.items()) for one in examples]
    return "\n".join(parts)


def _rows(name: str, table: Mapping[str, Any]) -> list[str]:
    plain = {key: value for key, value in table.items() if key != "records"}
    records = [
        f"[[{name}.records]]\n" + "".join(_pair(*item) for item in one.items()) for one in table["records"]
    ]
    return [_table(name, plain), *records]


def _table(name: str, table: Mapping[str, Any]) -> str:
    return f"[{name}]\n" + "".join(_pair(key, value) for key, value in table.items())


def _pair(key: str, value: Any) -> str:
    if isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
        rows = "".join(f"    {_value('', one)},\n" for one in value)
        return f"{_key(key)} = [\n{rows}]\n"
    return f"{_key(key)} = {_value(key, value)}\n"


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _text(key)


def _value(key: str, value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return f"'{value}'" if key in _RAW_KEYS else _text(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(key, one) for one in value)}]"
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key(name)} = {_value(name, one)}' for name, one in value.items())} }}"
    raise TypeError(f"TOML has no {type(value).__name__}")


def _text(text: str) -> str:
    # JSON escapes the same characters, but for one.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")

"""The key: what was really put on the line, and what it truly meant.

One JSON object a line, only ever appended, handed to the system at each entry, so that a test can kill the
reader (or this program) at any moment and still compare. The bytes of all ``put`` entries of one
instrument, joined, are exactly what its port accepted.
"""

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal, Protocol, TextIO

Kind = Literal["put", "unheard", "received", "fault", "line"]
"""put: accepted by the port · unheard: the instrument spoke, but nothing reached the port · received: what
the reader sent to the instrument · fault: a fault began or ended · line: a listener came or went."""

Meaning = Mapping[str, object]
"""Plain JSON values: what a message says and what was true."""


class WireLog(Protocol):
    """Where a line writes down what happened on it."""

    def write(
        self, utc_us: int, instrument: str, kind: Kind, data: bytes = b"", meaning: Meaning | None = None
    ) -> None:
        """Append one entry."""


class FileWireLog:
    """Append entries to a JSON Lines file."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file: TextIO = path.open("a", encoding="utf-8")

    def write(
        self, utc_us: int, instrument: str, kind: Kind, data: bytes = b"", meaning: Meaning | None = None
    ) -> None:
        """Append one entry and flush it."""
        entry = {
            "utc_us": utc_us,
            "instrument": instrument,
            "kind": kind,
            "hex": data.hex(),
            "meaning": meaning,
        }
        self._file.write(json.dumps(entry, ensure_ascii=False, separators=(",", ":")) + "\n")
        self._file.flush()

    def close(self) -> None:
        """Close the file."""
        self._file.close()


class NoWireLog:
    """Keep nothing: for a bench that nobody grades."""

    def write(
        self, utc_us: int, instrument: str, kind: Kind, data: bytes = b"", meaning: Meaning | None = None
    ) -> None:
        """Drop the entry."""


def read_log(path: Path) -> list[dict[str, Any]]:
    """Return the whole entries of a log; a last line that was cut off by a kill is left out."""
    text = path.read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines(keepends=True) if line.endswith("\n")]


def bytes_put(path: Path, instrument: str, where: Callable[[dict[str, Any]], bool] = lambda _: True) -> bytes:
    """Return the bytes that one instrument's port accepted, in order, from the entries that `where` picks."""
    return b"".join(
        bytes.fromhex(entry["hex"])
        for entry in read_log(path)
        if entry["instrument"] == instrument and entry["kind"] == "put" and where(entry)
    )

"""What may be asked of the running daemon, as Protocols; whoever answers refuses with a `ProblemError`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from storage.rows import Row


@dataclass(frozen=True, slots=True)
class Act:
    """Who asks for something, and why."""

    actor: str
    """Initials of a person, or the name of a program."""
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class LineSettings:
    """What the configuration says of a line."""

    table: Mapping[str, Any]
    file: str
    """The name of the file that says it."""


@dataclass(frozen=True, slots=True)
class Reloaded:
    """What reading the configuration again has changed."""

    number: int
    """Of the ledger entry."""
    acts: Mapping[str, str]
    """By line: added, changed, started or removed."""


class Acts(Protocol):
    """Enters what people and programs ask for in the ledger."""

    async def enter(self, action: str, act: Act, rows: Mapping[str, Sequence[Row]]) -> int:
        """Enter an act with the rows it brings; return its number once it is durable."""


class LineControl(Protocol):
    """Changes lines while the daemon runs.

    Every act is kept in a file and entered into the ledger before it is done. It returns the number of its
    ledger entry, or None if nothing needed doing.
    """

    def settings(self, line: str) -> LineSettings:
        """Return what the configuration says of a line."""

    async def add(self, table: Mapping[str, Any], act: Act) -> int:
        """Add a line, as a table of the configuration says it."""

    async def change(self, line: str, table: Mapping[str, Any], act: Act) -> int | None:
        """Put another table in the place of a line's."""

    async def stop(self, line: str, act: Act) -> int | None:
        """Stop a line until it is started."""

    async def start(self, line: str, act: Act) -> int | None:
        """Start a line that was stopped, has ended or has failed."""

    async def remove(self, line: str, act: Act) -> int:
        """Stop a line and forget it."""

    async def reload(self, act: Act) -> Reloaded:
        """Read the configuration again and bring the lines in step with it."""

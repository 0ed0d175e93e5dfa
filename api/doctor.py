"""What the API needs of the wiring doctor."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol


@dataclass(frozen=True, slots=True)
class DoctorHint:
    """One thing that seems wrong with a line."""

    code: str
    words: str
    """What it looks like."""
    because: str
    """What was seen, with its numbers."""
    what_to_do: str


@dataclass(frozen=True, slots=True)
class DoctorReport:
    """What was seen of a line, and what it looks like."""

    listened_s: float
    """Since it was opened last; 0 while it is not open. [s]"""
    heard_bytes: int
    """[bytes]"""
    sent_bytes: int
    """[bytes]"""
    newest: bytes
    """The newest bytes that were heard."""
    frames_read: int
    refusals: Mapping[str, int] = field(default_factory=dict)
    """How many frames were refused, by the reason."""
    control_lines: Mapping[str, bool] | None = None
    """By their names; None where the port has none, or nobody can see them."""
    hints: tuple[DoctorHint, ...] = ()
    """The plainest first."""


class LineDoctor(Protocol):
    """Examines lines."""

    async def report(self, line: str) -> DoctorReport:
        """Return what is known of a configured line now."""

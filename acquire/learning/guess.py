"""What a field is taken for."""

from dataclasses import dataclass, field
from typing import Any

from acquire.learning.report import Claim, Question


@dataclass(slots=True)
class Guess:
    """A field of a record in the making."""

    table: dict[str, Any]
    """As in a driver file, without its label or place."""
    weight: float = 0.0
    """How much of its characters it explains, from 0 to 1."""
    claims: list[Claim] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    stand_in: dict[str, Any] | None = None
    """A table by which the layout can be tried while nobody knows the quantity; never written."""

    @property
    def kind(self) -> str:
        """As in a driver file."""
        return str(self.table["kind"])


def ignored(key: str, because: str = "") -> Guess:
    """Return a field that is not read."""
    claims = [Claim(key, "not read", 0.5, because)] if because else []
    return Guess({"kind": "ignore"}, 0.0, claims)

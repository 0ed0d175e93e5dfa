"""A hint and the rule that gives it."""

from collections.abc import Callable
from dataclasses import dataclass

from acquire.doctor.evidence import Evidence


@dataclass(frozen=True, slots=True)
class Hint:
    """What a line looks like to somebody who has seen many."""

    code: str
    """The rule that gave it."""
    words: str
    """What it looks like."""
    because: str
    """What was seen, with its numbers."""
    what_to_do: str


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule saw."""

    because: str
    words: str = ""
    """Instead of the rule's own, where they depend on what was seen."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing that can be wrong with a line, and how it shows."""

    code: str
    words: str
    what_to_do: str
    look: Callable[[Evidence], Finding | None]

    def hint(self, evidence: Evidence) -> Hint | None:
        """Return a hint if the evidence speaks for it."""
        found = self.look(evidence)
        if found is None:
            return None
        return Hint(self.code, found.words or self.words, found.because, self.what_to_do)

"""One published figure, and how this program finds it."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum


class Status(StrEnum):
    """Where the expected figure comes from; only the first two may decide a test."""

    PUBLISHED = "published"
    COMPUTED = "computed from published inputs"
    MEMORY = "memory"


@dataclass(frozen=True, slots=True)
class Case:
    """An expected figure with its source, and a call that computes the same figure here."""

    id: str
    """Unique, such as ``so2.molecular.uc1982/pH3.40``; what stands before ``/`` names its table."""
    what: str
    """One line for a person, with unit."""
    source: str
    status: Status
    expected: float
    tolerance: float
    """Greatest allowed absolute difference, in the unit of `expected`."""
    find: Callable[[], float]

    @property
    def table(self) -> str:
        """The table this cell belongs to; a case on its own is its own table."""
        return self.id.split("/", 1)[0]


@dataclass(frozen=True, slots=True)
class NotReproduced:
    """A printed figure that this program does not reproduce, and why it is the print that is doubted."""

    id: str
    source: str
    printed: float
    found: float
    """What this program computes from the same inputs, in the unit of `printed`."""
    reason: str

"""What may be asked of stored captures: that they are poured through another driver."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from api.acts import Act
from bench.poured import Change
from bench.repour import Poured
from storage.queries import PourScope


@dataclass(frozen=True, slots=True)
class WantedDriver:
    """A driver: by its name with its options, by the text of a driver file, or as the store keeps it."""

    name: str | None = None
    options: Mapping[str, Any] | None = None
    definition: str | None = None
    number: int | None = None
    """Its entry in the ledger."""
    takes_refused: bool = False
    """Whether it takes what fits though a line had stopped taking because so much else did not."""


@dataclass(frozen=True, slots=True)
class PourReport:
    """What a pour would change, or has changed."""

    number: int | None
    """Ledger number of the pour; None if nothing was entered."""
    driver: str
    driver_version: str
    looked_at: int
    """How many captures were poured."""
    captures: tuple[Poured, ...]
    """Those in which something differs."""
    examples: tuple[tuple[int, Change], ...]
    """The first changes, each with the number of its capture."""
    is_complete: bool
    """Whether there was time for the whole scope."""


class Pours(Protocol):
    """Pours stored captures; refuses with a `ProblemError`."""

    async def suppose(self, driver: WantedDriver, scope: PourScope) -> PourReport:
        """Return what a driver would change; nothing is written."""

    async def apply(self, driver: WantedDriver, scope: PourScope, act: Act) -> PourReport:
        """Enter new versions of the readings that a driver finds otherwise, and return which those were."""

"""What the API needs of the learner."""

from collections.abc import Mapping
from typing import Any, Protocol


class Learner(Protocol):
    """Proposes driver files for instruments that nobody knows."""

    async def learn(self, data: bytes, answers: Mapping[str, str], name: str) -> Mapping[str, Any]:
        """Return a proposal as `tundish learn --json` tells it; refuses with a `ProblemError`."""

"""How the parts of a driver say that a frame cannot be read."""

from typing import Final

SHOWN_CHARACTERS: Final = 40  # as many of what came as a person reads at a glance [characters]


class Refusal(Exception):  # noqa: N818 - no error: what an instrument sends is never one
    """A frame cannot be read; it never leaves the driver that raised it."""

    def __init__(self, reason: str, detail: str) -> None:
        self.reason = reason
        """One of `acquire.reasons`."""
        self.detail = detail
        """Plain words: what was wrong, what came, what was wanted."""
        super().__init__(detail)


def shown(came: str | bytes) -> str:
    """Return what came, quoted and cut short, for a sentence."""
    return repr(came) if len(came) <= SHOWN_CHARACTERS else f"{came[:SHOWN_CHARACTERS]!r} and so on"

"""Who does something, when and why."""

from dataclasses import dataclass

from storage.ledger import ActorKind


@dataclass(frozen=True, slots=True)
class Actor:
    """The person, instrument or daemon behind an act."""

    name: str
    """Initials of a person, name of an instrument, or the daemon's own name."""
    kind: ActorKind
    at_us: int
    """When, by the host's clock. [µs since 1970 UTC]"""
    reason: str | None = None
    """Why, in words; some acts are refused without."""
    software: str = "tundish"
    """Name and version of the program that carries it out."""

"""Random streams that do not disturb each other.

Each entity (an instrument, a sample, a fault) draws from a stream of its own, seeded by the SHA-256 of the
bench's seed and the entity's name. Adding an instrument therefore changes nothing about the others.
"""

import hashlib
from random import Random


def stream(seed: int, name: str) -> Random:
    """Return the random stream of one entity; the same seed and name give the same numbers everywhere."""
    digest = hashlib.sha256(f"{seed}/{name}".encode()).digest()
    return Random(int.from_bytes(digest, "big"))

"""The ledger: one chain of entries a store, each sealed over its rows and over the entry before.

``digest`` is SHA-256 of the rows that came with an entry, ``link`` SHA-256 over the link before and all that
the entry says. Whoever changes a row, drops one or reorders entries breaks a link; whoever cuts the tail is
seen against a head that was written down elsewhere.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from functools import lru_cache
from hashlib import sha256
from typing import Final, NamedTuple

from storage.canonical import BLOB, INTEGER, TEXT, RowEncoder, RowsEncoder
from storage.errors import RowError
from storage.rows import Row

LINK_PREFIX: Final = b"tundish.link.2;"
GENESIS_PREFIX: Final = b"tundish.genesis.1;"

_LINKED: Final = RowEncoder((BLOB, INTEGER, INTEGER, TEXT, TEXT, TEXT, TEXT, BLOB))
"""The link before, and the fields of an entry from number to digest."""


class ActorKind(StrEnum):
    """What kind of actor an entry names."""

    PERSON = "person"
    DEVICE = "device"
    DAEMON = "daemon"


class Head(NamedTuple):
    """Where the chain stands."""

    number: int
    """Of the last entry; 0 before the first."""
    link: bytes
    """SHA-256, 32 bytes."""

    def __str__(self) -> str:
        return f"{self.number}:{self.link.hex()}"

    @classmethod
    def parse(cls, written: str) -> "Head":
        """Read ``NUMBER:LINKHEX``. Raises `ValueError` if it is anything else."""
        number, colon, link = written.partition(":")
        if not (colon and number.isascii() and number.isdigit() and len(link) == 2 * sha256().digest_size):
            raise ValueError(f"{written!r} is no head; wanted NUMBER:LINK with 64 hexadecimal digits")
        return cls(int(number), bytes.fromhex(link))


class Entry(NamedTuple):
    """One ledger entry, in column order."""

    number: int
    at_us: int
    actor: str
    actor_kind: str
    action: str
    reason: str | None
    digest: bytes
    link: bytes


def genesis(store_id: str) -> Head:
    """Return the head before the first entry of a store."""
    return Head(0, sha256(GENESIS_PREFIX + store_id.encode()).digest())


@lru_cache(maxsize=1)
def rows_encoder() -> RowsEncoder:
    """Return the encoder over the append-only tables of the schema."""
    return RowsEncoder()


def digest_of(rows: Mapping[str, Sequence[Row]]) -> bytes:
    """Return SHA-256 of the rows of one entry; keys are table names, rows carry their number."""
    return sha256(rows_encoder().encode(rows)).digest()


def link_of(previous: bytes, entry: Row) -> bytes:
    """Return the link over the link before and the fields of an entry from number to digest."""
    try:
        return sha256(LINK_PREFIX + _LINKED.encode((previous, *entry))).digest()
    except RowError as error:
        raise RowError(f"a ledger entry does not fit: {error}; it said {entry!r}") from error


def next_entry(
    head: Head,
    action: str,
    *,
    at_us: int,
    actor: str,
    actor_kind: str,
    reason: str | None,
    rows: Mapping[str, Sequence[Row]],
) -> Entry:
    """Return the entry that follows `head` and brings `rows`."""
    number = head.number + 1
    said = (number, at_us, actor, actor_kind, action, reason, digest_of(rows))
    return Entry(*said, link=link_of(head.link, said))

"""Results that one act puts in another light, judged in pieces, so that hearing never waits for them.

What is left after a piece is noted in the same commit as a place in the store: a crash loses none of it. The
next pieces are judged by whoever acted, who wants to see them, and else by step 2.
"""

from dataclasses import replace
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.amendments import catch_up
from bench.canonical_json import from_text, to_text
from bench.results import judge
from storage.queries.places import begun_places
from storage.queries.results import newest_in_extent
from storage.transaction import Transaction

PIECE: Final = 25
"""Most results judged in one commit: it takes some ten milliseconds."""
NAME: Final = "judging "
"""How the names of these places in the store begin; what follows tells which results."""
NOTHING: Final = 0
"""The place where nothing is left: before every result."""


class Extent(NamedTuple):
    """Which results an act concerns: those of a stretch of time and a scope, or those of an amendment."""

    from_us: int | None = None
    to_us: int | None = None
    """Inclusive. [µs]"""
    instrument: str | None = None
    method_id: int | None = None
    """Of an instrument or a method; all if neither is named."""
    amendment_id: int | None = None

    @property
    def named(self) -> dict[str, int | str]:
        """What it names, by the names of its fields."""
        return {name: value for name, value in self._asdict().items() if value is not None}

    @property
    def name(self) -> str:
        """The name of its place in the store."""
        return NAME + to_text(self.named)


def judge_newest(tx: Transaction, actor: Actor, extent: Extent) -> list[int]:
    """Judge the newest results of an extent, and leave the others for later pieces; return what changed."""
    return _judge_piece(tx, actor, extent, before=None)


def judge_next(tx: Transaction, actor: Actor) -> bool:
    """Judge the next piece of what is left, and tell whether anything is left after it."""
    for extent, before in left(tx.connection)[:1]:
        _judge_piece(tx, actor, extent, before)
    return bool(left(tx.connection))


def left(connection: Connection) -> list[tuple[Extent, int]]:
    """Return the extents that are not judged to their end, each with the id before which it goes on."""
    return [
        (Extent(**from_text(name.removeprefix(NAME))), number)
        for name, number in begun_places(connection, NAME)
    ]


def _judge_piece(tx: Transaction, actor: Actor, extent: Extent, before: int | None) -> list[int]:
    ids = newest_in_extent(tx.connection, extent.named, before=before, limit=PIECE)
    if len(ids) == PIECE:
        tx.set_position(extent.name, ids[-1])
    elif before is not None:
        tx.set_position(extent.name, NOTHING)
    if extent.amendment_id is not None:
        why = replace(actor, reason=actor.reason or f"amendment {extent.amendment_id} changed its parts")
        ids = sorted({*ids, *catch_up(tx, why, ids)})
    return judge(tx, actor, ids)

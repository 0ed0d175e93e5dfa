"""Results follow their readings: what is tied anew is made, moved and judged again in the same act."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Final

from sqlalchemy import Connection

from bench import ties
from bench.actor import Actor
from bench.beside import Beside
from bench.results import derive, judge, own_causes
from bench.standing import family_of
from bench.taking import take
from bench.ties import Bond
from storage.queries.control_records import made_from_readings
from storage.queries.readings import untaken_by_id
from storage.queries.results import results_by_id, results_standing_on
from storage.queries.trays import tie_of
from storage.transaction import Transaction

SETTLED_BY_A_TIE: Final = frozenset({"tie.two_samples", "tie.sample_unknown"})
"""What a person who ties a reading has decided; these reasons end with the tie."""


def tie(tx: Transaction, actor: Actor, reading_ids: Sequence[int], sample: str) -> None:
    """Bind readings to a sample by hand; see `bench.ties.tie`."""
    with _results_follow(tx, actor, reading_ids):
        ties.tie(tx, actor, reading_ids, sample)


def untie(tx: Transaction, actor: Actor, reading_ids: Sequence[int]) -> None:
    """Take readings off their sample; see `bench.ties.untie`."""
    with _results_follow(tx, actor, reading_ids):
        ties.untie(tx, actor, reading_ids)


def reassign(tx: Transaction, actor: Actor, samples: Mapping[int, str]) -> None:
    """Give several readings other samples at once; see `bench.ties.reassign`."""
    with _results_follow(tx, actor, list(samples)):
        ties.reassign(tx, actor, samples)


def swap(tx: Transaction, actor: Actor, one: int, other: int) -> None:
    """Exchange what two readings are bound to; see `bench.ties.swap`."""
    with _results_follow(tx, actor, [one, other]):
        ties.swap(tx, actor, one, other)


@contextmanager
def _results_follow(tx: Transaction, actor: Actor, reading_ids: Sequence[int]) -> Iterator[None]:
    """Tie readings anew inside: their results follow, and those that stood beside them are judged again."""
    moved = results_standing_on(tx.connection, "reading", reading_ids)
    beside = _beside(tx.connection, moved)
    yield
    _make_missing(tx, actor, reading_ids)
    moving = results_standing_on(tx.connection, "reading", reading_ids)
    causes = {
        of.result_id: tuple(one for one in own_causes(of) if one.code not in SETTLED_BY_A_TIE)
        for of in results_by_id(tx.connection, moving)
    }
    judge(tx, actor, moving, own=causes)
    for number in moving:
        derive(tx, actor, number)
    judge(tx, actor, (beside | _beside(tx.connection, moving)) - set(moving))


def _beside(connection: Connection, numbers: Sequence[int]) -> set[int]:
    """Return the results whose standing depends on some: of the same samples, and what stands on them."""
    found: set[int] = set(results_standing_on(connection, "result", numbers)) if numbers else set()
    moved = results_by_id(connection, numbers)
    beside = Beside(connection, moved)
    return found | {one.result_id for of in moved for one in family_of(beside, of)}


def _make_missing(tx: Transaction, actor: Actor, reading_ids: Sequence[int]) -> None:
    """Make the results of readings that were nobody's until now; one that judged a check stays with it."""
    used = {one for one in reading_ids if results_standing_on(tx.connection, "reading", [one])}
    used |= made_from_readings(tx.connection, reading_ids)
    new = [one for one in untaken_by_id(tx.connection, reading_ids) if one.reading_id not in used]
    bonds = {}
    for one in new:
        found = tie_of(tx.connection, one.reading_id)
        if found is not None and found.sample_id is not None:
            bonds[one.reading_id] = Bond(found.sample_id, found.item_id, "hand")
    take(tx, actor, new, bonds)

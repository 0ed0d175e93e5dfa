"""Results that stand on other results: which ones, and what they become when these change."""

from collections.abc import Iterator, Mapping, Sequence
from math import hypot
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.canonical_json import from_text, to_text
from bench.evaluation import uncertainty_of
from bench.kinds.laboratory import Method
from bench.records import by_id
from evaluate.formulas import recompute
from storage.queries.control_records import Source
from storage.queries.results import (
    CurrentResult,
    results_by_id,
    results_standing_on,
    results_under,
)


class Part(NamedTuple):
    """A result that a derived one stands on."""

    quantity: str
    input: str
    """Name of the input of the formula."""
    of_lot: bool = False
    """Whether it may be of an earlier sample of the lot."""


DERIVATIONS: Final[Mapping[str, tuple[Part, ...]]] = {
    "molecular_so2": (Part("free_so2", "free_mg_per_l"), Part("ph", "ph", of_lot=True)),
    "combined_so2_difference": (Part("free_so2", "free_mg_per_l"), Part("total_so2", "total_mg_per_l")),
}
"""Formulas whose inputs are results. The first part says whose result it is and when it was measured."""
INHERITED: Final = {
    "provisional": "input.provisional",
    "look_again": "input.not_good",
    "do_not_use": "input.do_not_use",
}
"""What the standing of a part is to the result that stands on it."""
_A_PIECE: Final = 500
"""Results asked for at a time."""
ALLOWANCE_U: Final = 2.0  # [1] standard uncertainties; free above total within it is no contradiction


class Followed(NamedTuple):
    """What a derived result would be after its parts have changed."""

    of: CurrentResult
    value: float
    uncertainty: float | None
    inputs: str


def parts_of(connection: Connection, of: CurrentResult) -> list[tuple[Source, CurrentResult]]:
    """Return the results that a derived result stands on, as they stand now; none for a measured one."""
    return parts_of_all(connection, [of]).get(of.result_id, [])


def parts_of_all(
    connection: Connection, of: Sequence[CurrentResult]
) -> dict[int, list[tuple[Source, CurrentResult]]]:
    """Return what :func:`parts_of` does of several results, by the id of each that stands on others."""
    wanted = [one.result_id for one in of]
    under: dict[int, list[Source]] = {}
    for start in range(0, len(wanted), _A_PIECE):
        under |= results_under(connection, wanted[start : start + _A_PIECE])
    ids = {source.source_id for sources in under.values() for source in sources}
    found = {one.result_id: one for one in results_by_id(connection, ids)} if ids else {}
    return {
        number: [(one, found[one.source_id]) for one in sources if one.source_id in found]
        for number, sources in under.items()
    }


def followers(
    connection: Connection, changed: Mapping[int, tuple[float, float | None]]
) -> Iterator[Followed]:
    """Yield what the results that stand on changed ones become, in the order of their ids.

    `changed` is the new value and standard uncertainty by result id; a part that is not among them keeps its
    own. [unit of each result]
    """
    methods: dict[tuple[int, int], Method] = {}
    ids = dependents(connection, list(changed))
    for start in range(0, len(ids), _A_PIECE):
        piece = ids[start : start + _A_PIECE]
        under = results_under(connection, piece)
        others = {one.source_id for sources in under.values() for one in sources} - set(changed)
        now: dict[int, tuple[float | None, float | None]] = dict(changed)
        now |= {one.result_id: (one.value, one.uncertainty) for one in results_by_id(connection, others)}
        for of in results_by_id(connection, piece):
            key = (of.method_id, of.method_version)
            if key not in methods:
                methods[key] = by_id(connection, Method, *key).body
            found = _followed(of, methods[key], under.get(of.result_id, []), now)
            if found is not None:
                yield found


def dependents(connection: Connection, ids: Sequence[int]) -> list[int]:
    """Return the ids of the results that stand on some results."""
    found: set[int] = set()
    for start in range(0, len(ids), _A_PIECE):
        found.update(results_standing_on(connection, "result", ids[start : start + _A_PIECE]))
    return sorted(found)


def _followed(
    of: CurrentResult,
    method: Method,
    sources: Sequence[Source],
    now: Mapping[int, tuple[float | None, float | None]],
) -> Followed | None:
    """Return what a result becomes with its parts as they are now; None if it does not move."""
    formula_id, version = of.formula.split("/")
    inputs = from_text(of.inputs)
    names = {part.quantity: part.input for part in DERIVATIONS.get(formula_id, ())}
    doubts: dict[str, float] = {}
    new = dict(inputs)
    for source in sources:
        value, doubt = now.get(source.source_id, (None, None))
        if source.role not in names or value is None:
            return None
        new[names[source.role]] = value
        if doubt:
            doubts[names[source.role]] = doubt
    if "allowance_mg_per_l" in new:
        new["allowance_mg_per_l"] = ALLOWANCE_U * hypot(*doubts.values())
    if of.value is None or new == inputs:
        return None
    value = recompute(formula_id, new, int(version))
    return Followed(of, value, uncertainty_of(method, of.formula, new, value, doubts), to_text(new))

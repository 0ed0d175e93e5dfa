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
from storage.queries.results import CurrentResult, results_by_id, results_standing_on, sources_of_result


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
ALLOWANCE_U: Final = 2.0  # [1] standard uncertainties; free above total within it is no contradiction


class Followed(NamedTuple):
    """What a derived result would be after its parts have changed."""

    of: CurrentResult
    value: float
    uncertainty: float | None
    inputs: str


def parts_of(connection: Connection, of: CurrentResult) -> list[tuple[Source, CurrentResult]]:
    """Return the results that a derived result stands on, as they stand now; none for a measured one."""
    sources = [one for one in sources_of_result(connection, of.result_id, 1) if one.source == "result"]
    found = {one.result_id: one for one in results_by_id(connection, [one.source_id for one in sources])}
    return [(one, found[one.source_id]) for one in sources if one.source_id in found]


def followers(
    connection: Connection, changed: Mapping[int, tuple[float, float | None]]
) -> Iterator[Followed]:
    """Yield what the results that stand on changed ones become, in the order of their ids.

    `changed` is the new value and standard uncertainty by result id; a part that is not among them keeps its
    own. [unit of each result]
    """
    for of in results_by_id(connection, dependents(connection, list(changed))):
        if of.value is not None and (found := _followed(connection, of, changed)) is not None:
            yield found


def dependents(connection: Connection, ids: Sequence[int]) -> list[int]:
    """Return the ids of the results that stand on some results."""
    found: set[int] = set()
    for start in range(0, len(ids), 500):
        found.update(results_standing_on(connection, "result", ids[start : start + 500]))
    return sorted(found)


def _followed(
    connection: Connection, of: CurrentResult, changed: Mapping[int, tuple[float, float | None]]
) -> Followed | None:
    formula_id, version = of.formula.split("/")
    inputs = from_text(of.inputs)
    names = {part.quantity: part.input for part in DERIVATIONS.get(formula_id, ())}
    doubts: dict[str, float] = {}
    new = dict(inputs)
    for source, part in parts_of(connection, of):
        value, doubt = changed.get(part.result_id, (part.value, part.uncertainty))
        if source.role not in names or value is None:
            return None
        new[names[source.role]] = value
        if doubt:
            doubts[names[source.role]] = doubt
    if "allowance_mg_per_l" in new:
        new["allowance_mg_per_l"] = ALLOWANCE_U * hypot(*doubts.values())
    if new == inputs:
        return None
    method = by_id(connection, Method, of.method_id, of.method_version).body
    value = recompute(formula_id, new, int(version))
    return Followed(of, value, uncertainty_of(method, of.formula, new, value, doubts), to_text(new))

"""The uncertainty budget of a result: what each input adds, by its method and by the results it stands on."""

from typing import NamedTuple

from sqlalchemy import Connection

from bench.canonical_json import from_text
from bench.kinds.laboratory import Method
from bench.parts import DERIVATIONS, parts_of
from bench.records import by_id
from bench.refused import NotThereError, RefusedError
from evaluate.formulas import budget, formula
from storage.queries.results import CurrentResult, results_by_id


class Share(NamedTuple):
    """What one input adds to the uncertainty of a result."""

    name: str
    value: float
    unit: str
    uncertainty: float
    """Standard uncertainty of the input. [unit of the input]"""
    contribution: float
    """To the standard uncertainty of the result. [unit of the result]"""
    share: float
    """Of the variance. [1]"""


class ResultBudget(NamedTuple):
    """A result with its uncertainty and where it comes from."""

    of: CurrentResult
    uncertainty: float | None
    shares: tuple[Share, ...]
    by: str
    """budget, relative or none: how the method says it."""


def budget_of(connection: Connection, result_id: int) -> ResultBudget:
    """Return the uncertainty budget of a result as it stands now; raise `RefusedError` if it has no value."""
    found = results_by_id(connection, [result_id])
    if not found:
        raise NotThereError("result.unknown", f"there is no result {result_id}")
    (of,) = found
    if of.value is None:
        raise RefusedError("result.no_value", f"result {result_id} has no value: there is nothing to doubt")
    method = by_id(connection, Method, of.method_id, of.method_version).body
    formula_id, version = of.formula.split("/")
    inputs = from_text(of.inputs)
    doubts = {name: u for name, u in method.uncertainty_budget.items() if name in inputs and u > 0}
    names = {part.quantity: part.input for part in DERIVATIONS.get(formula_id, ())}
    for source, part in parts_of(connection, of):
        if source.role in names and part.uncertainty:
            doubts[names[source.role]] = part.uncertainty
    if not doubts:
        by = "none" if method.relative_uncertainty is None else "relative"
        return ResultBudget(of, of.uncertainty, (), by)
    told = budget(formula_id, inputs, doubts, version=int(version))
    units = {one.name: one.unit or of.unit for one in formula(formula_id, int(version)).inputs}
    shares = tuple(
        Share(name, inputs[name], units[name], doubts[name], part.u, part.share)
        for name, part in told.contributions.items()
        if name in doubts
    )
    return ResultBudget(of, told.u, shares, "budget")

"""From a titre or an instrument's own number to a value, by a method, with everything that it stood on."""

from collections.abc import Mapping
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.control_records import Evidence, State, StateAt, state_at
from bench.kinds.laboratory import Method, Reagent
from bench.reasons import Cause
from bench.records import Record, held_at
from evaluate.errors import EvaluateError
from evaluate.formula import Formula
from evaluate.formulas import complete_inputs, formula, recompute
from evaluate.uncertainty import Input, propagate
from storage.queries.records import links_of

DAY_US: Final = 86_400_000_000  # [µs]


class Evaluated(NamedTuple):
    """A value with its inputs, or why there is none."""

    value: float | None
    uncertainty: float | None
    """Standard uncertainty. [unit of the quantity]"""
    formula: str
    """Id and version, such as ``free_so2_iodine/1``."""
    inputs: Mapping[str, float]
    evidence: tuple[Evidence, ...]
    causes: tuple[Cause, ...]
    basis: str | None = None
    """What the value is told in or by, where it is not the quantity's own."""


class _Gathered:
    """What is gathered on the way to the inputs of a formula."""

    def __init__(self, wanted: Formula, method: Method) -> None:
        self.names = {one.name for one in wanted.inputs}
        self.inputs: dict[str, float] = {}
        self.evidence: list[Evidence] = []
        self.causes: list[Cause] = []
        self._give("sample_ml", method.aliquot_ml)
        self._give("dilution", method.dilution)

    def _give(self, name: str, value: float | None) -> None:
        if value is not None and name in self.names:
            self.inputs[name] = value

    def wants(self, name: str) -> bool:
        return name in self.names

    def add(self, name: str, value: float, *evidence: Evidence) -> None:
        self._give(name, value)
        self.evidence += evidence


def evaluate(
    connection: Connection, method: Record[Method], given: float, at_us: int, instrument: str | None
) -> Evaluated:
    """Return what a titre, or an instrument's own number, amounts to by a method. [µs]

    Parameters
    ----------
    given : float
        The first input of the method's formula. [unit of that input]
    """
    wanted = formula(method.body.formula)
    gathered = _Gathered(wanted, method.body)
    gathered.evidence.append(Evidence("method", "record", method.record_id, method.version.version))
    gathered.inputs[wanted.inputs[0].name] = given
    if gathered.wants("titrant_mol_per_l") or gathered.wants("titrant_factor"):
        _add_titrant(connection, gathered, method, at_us)
    if method.body.blank == "ours" and gathered.wants("blank_ml"):
        _add_blank(connection, gathered, method, at_us, instrument)
    gathered.inputs.update({k: v for k, v in method.body.inputs.items() if k in gathered.names})
    return _computed(wanted, method.body, gathered)


def _computed(wanted: Formula, method: Method, gathered: _Gathered) -> Evaluated:
    named = f"{wanted.id}/{wanted.version}"
    evidence = tuple(gathered.evidence)
    try:
        inputs = complete_inputs(wanted.id, gathered.inputs, wanted.version)
        value = recompute(wanted.id, inputs, wanted.version)
        uncertainty = uncertainty_of(method, named, inputs, value)
    except EvaluateError as error:
        cause = Cause("formula.refused", str(error))
        return Evaluated(None, None, named, gathered.inputs, evidence, (*gathered.causes, cause))
    return Evaluated(value, uncertainty, named, inputs, evidence, tuple(gathered.causes))


def uncertainty_of(
    method: Method,
    named: str,
    inputs: Mapping[str, float],
    value: float,
    own: Mapping[str, float] | None = None,
) -> float | None:
    """Return the standard uncertainty by the method's budget, else by its relative one, else None.

    `own` is what is known of single inputs beside the budget, by name. [unit of each input]
    """
    formula_id, version = named.split("/")
    chosen = formula(formula_id, int(version))
    known = {**method.uncertainty_budget, **(own or {})}
    budget = {name: u for name, u in known.items() if name in inputs and u > 0}
    if budget:
        fixed = {name: one for name, one in inputs.items() if name not in budget}
        uncertain = {name: Input(inputs[name], u) for name, u in budget.items()}
        return propagate(lambda **some: chosen.function(**fixed, **some), uncertain).u
    if method.relative_uncertainty is not None:
        return abs(value) * method.relative_uncertainty
    return None


def named_reagent(
    connection: Connection, method: Record[Method], role: str, at_us: int
) -> Record[Reagent] | None:
    """Return the reagent that a version of a method names in a role, as it was at a moment. [µs]"""
    targets = links_of(connection, method.record_id, method.version.version)
    ids = [target for named, target in targets if named == role]
    if not ids:
        return None
    return held_at(connection, Reagent, ids[0], at_us)


def _add_titrant(connection: Connection, gathered: _Gathered, method: Record[Method], at_us: int) -> None:
    titrant = named_reagent(connection, method, "titrant", at_us)
    if titrant is None:
        gathered.causes.append(Cause("titrant.unknown", f"method {method.code} names no titrant"))
        return
    evidence = Evidence("titrant", "record", titrant.record_id, titrant.version.version)
    gathered.evidence.append(evidence)
    if titrant.body.nominal_mol_per_l is not None:
        gathered.add("titrant_mol_per_l", titrant.body.nominal_mol_per_l)
    gathered.causes += reagent_causes(titrant, at_us, "titrant.expired")
    state = state_at(connection, "standardisation", at_us, subject_id=titrant.record_id)
    _add_factor(gathered, titrant, state, at_us)


def _add_factor(gathered: _Gathered, titrant: Record[Reagent], state: StateAt, at_us: int) -> None:
    if state.record is None or state.record.value is None:
        gathered.causes.append(Cause("titrant.unstandardised", f"{titrant.code} has no standardisation"))
        return
    age_days = (at_us - state.record.at_us) / DAY_US
    if state.state is State.FAILED:
        gathered.causes.append(Cause("titrant.failed", f"{titrant.code}, record {state.record.number}"))
    every = titrant.body.standardise_every_days
    if state.state is State.EXPIRED or (every is not None and age_days > every):
        gathered.causes.append(
            Cause("titrant.overdue", f"{titrant.code} was standardised {age_days:.1f} d before")
        )
    evidence = Evidence("factor", "control_record", state.record.number)
    gathered.add("titrant_factor", state.record.value, evidence)


def _add_blank(
    connection: Connection, gathered: _Gathered, method: Record[Method], at_us: int, instrument: str | None
) -> None:
    state = state_at(connection, "blank", at_us, instrument=instrument, method_id=method.record_id)
    if state.record is None or state.record.value is None or state.state is State.FAILED:
        gathered.causes.append(Cause("blank.unknown", f"method {method.code} takes a blank off"))
        return
    gathered.add("blank_ml", state.record.value, Evidence("blank", "control_record", state.record.number))


def reagent_causes(reagent: Record[Reagent], at_us: int, code: str = "reagent.expired") -> list[Cause]:
    """Return a cause if a bottle was past its label or its days after opening. [µs]"""
    expiry = expiry_us(reagent.body)
    if expiry is None or at_us <= expiry:
        return []
    return [Cause(code, f"{reagent.code} expired {(at_us - expiry) / DAY_US:.1f} d before")]


def expiry_us(reagent: Reagent) -> int | None:
    """Return when a bottle expires: by its label or by its days after opening, whichever is first. [µs]"""
    ends = []
    if reagent.label_expiry is not None:
        ends.append(round(reagent.label_expiry.timestamp() * 1e6))
    if reagent.opened_at is not None and reagent.days_after_opening is not None:
        ends.append(round(reagent.opened_at.timestamp() * 1e6 + reagent.days_after_opening * DAY_US))
    return min(ends, default=None)

"""Results that are worked out when another one is made: from which ones, and how far apart these are."""

from collections.abc import Iterable, Iterator, Mapping
from math import hypot
from typing import NamedTuple

from sqlalchemy import Connection

from bench.control_records import HOUR_US, Evidence
from bench.evaluation import Evaluated, uncertainty_of
from bench.kinds.cellar import Lot, Sample
from bench.kinds.laboratory import Method
from bench.parts import ALLOWANCE_U, DERIVATIONS, Part
from bench.reasons import Cause
from bench.records import Record, by_id, find, held_at, read
from evaluate.errors import EvaluateError
from evaluate.formulas import complete_inputs, formula, recompute
from evaluate.molecular import sulfurous_pk
from evaluate.so2_constants import constant_set
from storage.queries.records import records_naming, records_of_kind
from storage.queries.result_statements import ResultFilter
from storage.queries.results import (
    CurrentResult,
    results_after,
    results_by_id,
    sources_of_result,
)


class Derived(NamedTuple):
    """A result that can be worked out."""

    method: Record[Method]
    of: CurrentResult
    """The first part: whose sample and moment it takes."""
    evaluated: Evaluated


def derivations(connection: Connection, result_id: int) -> list[Derived]:
    """Return what can be worked out now that a result was made; nothing for replicates of another."""
    (made,) = results_by_id(connection, [result_id])
    if made.sample_id is None or made.value is None or made.replicate_of is not None:
        return []
    found = (
        _derived(connection, method, main)
        for method in _methods_taking(connection, made.quantity)
        for main in _mains(connection, method, made)
    )
    return [one for one in found if one is not None and _is_new(connection, one)]


def _methods_taking(connection: Connection, quantity: str) -> Iterator[Record[Method]]:
    for one in records_of_kind(connection, "method", retired=False):
        method = read(one, Method)
        if any(part.quantity == quantity for part in DERIVATIONS.get(method.body.formula, ())):
            yield method


def _mains(connection: Connection, method: Record[Method], made: CurrentResult) -> list[CurrentResult]:
    """Return the results that a derivation begins with: one of the sample, and later ones of the lot.

    The later ones count where the result may be of an earlier sample: it was measured before, entered after.
    """
    first, *others = DERIVATIONS[method.body.formula]
    if made.quantity == first.quantity:
        return [made]
    own = _best(connection, first, made)
    mains = [] if own is None else [own]
    part = next(one for one in others if one.quantity == made.quantity)
    lot_id = _lot_id(connection, made.sample_id or 0) if part.of_lot else None
    if lot_id is not None:
        samples = tuple(one.record_id for one in records_naming(connection, lot_id, "lot", "sample"))
        wanted = ResultFilter(sample_ids=samples, quantity=first.quantity, from_us=made.at_us)
        mains += [
            one
            for one in results_after(connection, wanted)
            if one.sample_id != made.sample_id and one.mark != "rejected" and one.replicate_of is None
        ]
    return mains


def _derived(connection: Connection, newest: Record[Method], main: CurrentResult) -> Derived | None:
    first, *others = DERIVATIONS[newest.body.formula]
    if main.value is None:
        return None
    method = held_at(connection, Method, newest.record_id, main.at_us) or newest
    taken = {first: main}
    for part in others:
        if (found := _best(connection, part, main)) is not None:
            taken[part] = found
        elif not part.of_lot:
            return None
    return Derived(method, main, _evaluated(connection, method, taken))


def _best(connection: Connection, part: Part, main: CurrentResult) -> CurrentResult | None:
    """Return the newest result of the sample, else of its lot up to then; what may be used goes before."""
    assert main.sample_id is not None  # noqa: S101 - the caller looked
    own = _newest(connection, (main.sample_id,), part.quantity)
    if own is not None or not part.of_lot:
        return own
    lot_id = _lot_id(connection, main.sample_id)
    if lot_id is None:
        return None
    samples = tuple(one.record_id for one in records_naming(connection, lot_id, "lot", "sample"))
    return _newest(connection, samples, part.quantity, to_us=main.at_us + 1)


def _newest(
    connection: Connection, samples: tuple[int, ...], quantity: str, to_us: int | None = None
) -> CurrentResult | None:
    wanted = ResultFilter(sample_ids=samples, quantity=quantity, to_us=to_us)
    found = [
        one
        for one in results_after(connection, wanted, limit=100_000)
        if one.value is not None and one.mark != "rejected" and one.replicate_of is None
    ]
    usable = [one for one in found if one.standing != "do_not_use"]
    return max(usable or found, key=lambda one: (one.at_us, one.result_id), default=None)


def _lot_id(connection: Connection, sample_id: int) -> int | None:
    lot = by_id(connection, Sample, sample_id).body.lot
    return None if lot is None else find(connection, Lot, lot).record_id


def _is_new(connection: Connection, one: Derived) -> bool:
    """Tell whether the newest of its kind stands on other results, or there is none."""
    wanted = ResultFilter(sample_ids=(one.of.sample_id or 0,), method_id=one.method.record_id)
    earlier = results_after(connection, wanted)
    if not earlier:
        return True
    before = {
        (source.role, source.source_id)
        for source in sources_of_result(connection, earlier[-1].result_id, 1)
        if source.source == "result"
    }
    return before != {
        (source.role, source.source_id) for source in one.evaluated.evidence if source.source == "result"
    }


def _evaluated(
    connection: Connection, method: Record[Method], taken: Mapping[Part, CurrentResult]
) -> Evaluated:
    wanted = formula(method.body.formula)
    named = f"{wanted.id}/{wanted.version}"
    (_, main), *_ = taken.items()
    evidence = [Evidence("method", "record", method.record_id, method.version.version)]
    evidence += [Evidence(part.quantity, "result", one.result_id, one.version) for part, one in taken.items()]
    inputs = {part.input: one.value for part, one in taken.items() if one.value is not None}
    causes = [*_missing(method, taken), *_ages(method.body, taken)]
    basis = None
    try:
        if wanted.id == "molecular_so2":
            pk, basis = _constant(connection, method.body, main, evidence)
            inputs["pk"] = pk
        if wanted.id == "combined_so2_difference":
            inputs["allowance_mg_per_l"] = _allowance(taken.values())
        if any(cause.code == "input.missing" for cause in causes):
            return Evaluated(None, None, named, inputs, tuple(evidence), tuple(causes), basis)
        complete = complete_inputs(wanted.id, inputs, wanted.version)
        value = recompute(wanted.id, complete, wanted.version)
        uncertainty = uncertainty_of(method.body, named, complete, value, _doubts(taken))
    except EvaluateError as error:
        causes.append(Cause("formula.refused", str(error)))
        return Evaluated(None, None, named, inputs, tuple(evidence), tuple(causes), basis)
    return Evaluated(value, uncertainty, named, complete, tuple(evidence), tuple(causes), basis)


def _constant(
    connection: Connection, method: Method, main: CurrentResult, evidence: list[Evidence]
) -> tuple[float, str]:
    """Return the constant of the method's set for this wine, with the words that name set and conditions."""
    chosen = constant_set(method.constant_set)
    if chosen.pk is not None:
        return chosen.pk, chosen.name
    lot_id = _lot_id(connection, main.sample_id or 0)
    lot = None if lot_id is None else held_at(connection, Lot, lot_id, main.at_us)
    alcohol = None if lot is None else lot.body.alcohol_percent_vol
    if lot is not None:
        evidence.append(Evidence("alcohol", "record", lot.record_id, lot.version.version))
    celsius = method.constants_at_c
    pk = float(sulfurous_pk(chosen.name, alcohol, celsius))
    return pk, f"{chosen.name}, {alcohol:g} % vol, {celsius:g} °C"


def _missing(method: Record[Method], taken: Mapping[Part, CurrentResult]) -> Iterator[Cause]:
    for part in DERIVATIONS[method.body.formula]:
        if part not in taken:
            yield Cause("input.missing", f"no {part.quantity} is tied to the sample or its lot")


def _ages(method: Method, taken: Mapping[Part, CurrentResult]) -> Iterator[Cause]:
    (_, main), *others = taken.items()
    for part, one in others:
        age_h = abs(main.at_us - one.at_us) / HOUR_US
        if one.sample_id != main.sample_id:
            yield Cause(
                "input.of_lot", f"result {one.result_id} ({part.quantity}), {age_h:.1f} h apart, of the lot"
            )
        if age_h > method.input_age_h:
            yield Cause(
                "input.old",
                f"result {one.result_id} ({part.quantity}) is {age_h / 24:.1f} d apart,"
                f" {method.input_age_h / 24:.1f} d is allowed",
            )


def _doubts(taken: Mapping[Part, CurrentResult]) -> dict[str, float]:
    return {part.input: one.uncertainty for part, one in taken.items() if one.uncertainty}


def _allowance(parts: Iterable[CurrentResult]) -> float:
    return ALLOWANCE_U * hypot(*(one.uncertainty or 0.0 for one in parts))

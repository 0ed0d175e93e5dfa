"""Whether a result may be used, from everything that was known of the moment it was measured."""

from collections.abc import Iterator
from typing import Final, NamedTuple

from bench.beside import Beside
from bench.canonical_json import from_text, to_text
from bench.control_records import HOUR_US, State, StateAt
from bench.evaluation import reagent_causes
from bench.holds import covering
from bench.kinds.laboratory import Method
from bench.parts import DERIVATIONS, INHERITED
from bench.reasons import Cause, grade_of
from bench.records import Record
from evaluate.duplicates import Report, judge_replicates
from storage.queries.results import CurrentResult, results_by_id

OUTCOME_CAUSES: Final = {
    "no_value": "outcome.no_number",
    "above_range": "outcome.out_of_range",
    "below_range": "outcome.out_of_range",
}
PAIRS: Final = {"free_so2": "total_so2", "molecular_so2": "free_so2"}
"""Quantities of which the first is never more than the second."""


class Standing(NamedTuple):
    """A standing with its causes."""

    word: str
    causes: tuple[Cause, ...]

    @property
    def reasons(self) -> str:
        """As it is stored."""
        return to_text([{"code": cause.code, "evidence": cause.evidence} for cause in self.causes])


def stored_causes(reasons: str) -> tuple[Cause, ...]:
    """Return the causes of a stored standing."""
    return tuple(Cause(one["code"], one["evidence"]) for one in from_text(reasons))


def decide(beside: Beside, of: CurrentResult, own: tuple[Cause, ...]) -> Standing:
    """Return the standing of a result by what is known now of the moment it was measured.

    Parameters
    ----------
    own : tuple of Cause
        What was found while the value was worked out, and while its reading was tied.
    """
    method = beside.method(of)
    causes = (
        *own,
        *_of_sample_and_outcome(of),
        *_of_calibration(beside, of, method.body),
        *_of_reagents(beside, of, method),
        *_of_checks(beside, of, method),
        *_of_holds(beside, of, method),
        *_of_value(of, method.body),
        *_of_pairs(beside, of),
        *_of_replicates(beside, of, method.body),
        *_of_run(beside, of),
        *_of_parts(beside, of),
        *_of_later(beside, of, method.body),
    )
    unique = tuple(dict.fromkeys(causes))
    return Standing(grade_of(unique).word, unique)


def _of_sample_and_outcome(of: CurrentResult) -> Iterator[Cause]:
    if of.sample_id is None:
        yield Cause("sample.unknown", "no sample")
    if of.outcome in OUTCOME_CAUSES:
        yield Cause(OUTCOME_CAUSES[of.outcome], of.outcome)


def _of_calibration(beside: Beside, of: CurrentResult, method: Method) -> Iterator[Cause]:
    for kind, needed in (
        ("calibration", method.needs_calibration),
        ("verification", method.needs_verification),
    ):
        if needed:
            yield from _of_state(kind, beside.state(kind, of))


def _of_state(kind: str, found: StateAt) -> Iterator[Cause]:
    evidence = "none on record" if found.record is None else f"record {found.record.number}"
    if found.state is State.UNKNOWN or (kind == "verification" and found.state is State.EXPIRED):
        yield Cause(f"{kind}.unknown", evidence)
    elif found.state is State.EXPIRED:
        yield Cause("calibration.expired", evidence)
    elif found.state is State.FAILED:
        yield Cause(f"{kind}.failed", evidence)
    elif found.state is State.WARNED and kind == "calibration":
        yield Cause("calibration.warned", evidence)


def _of_reagents(beside: Beside, of: CurrentResult, method: Record[Method]) -> Iterator[Cause]:
    for target in beside.linked(method, "reagents"):
        if (reagent := beside.reagent(target, of.at_us)) is not None:
            yield from reagent_causes(reagent, of.at_us)


def _of_checks(beside: Beside, of: CurrentResult, method: Record[Method]) -> Iterator[Cause]:
    """Every material that the method names must have passed before, not longer ago than a check covers."""
    every = method.body.check_every_h
    for target in beside.linked(method, "checks"):
        passed = beside.passed(target, of)
        if passed is None or (every is not None and of.at_us - passed.at_us > every * HOUR_US):
            material = beside.reagent(target, of.at_us)
            yield Cause(
                "check.unknown", "no check" if material is None else f"{material.code} has not passed"
            )


def _of_holds(beside: Beside, of: CurrentResult, method: Record[Method]) -> Iterator[Cause]:
    found = covering(
        beside.holds(),
        at_us=of.at_us,
        instrument=of.instrument,
        method_id=of.method_id,
        titrant_id=beside.titrant(method),
    )
    for one in found:
        if one.settled == "accepted":
            yield Cause("hold.accepted", f"hold {one.number}")
        else:
            yield Cause("check.failed", f"hold {one.number}")


def _of_value(of: CurrentResult, method: Method) -> Iterator[Cause]:
    low, high = method.plausible_low, method.plausible_high
    if of.value is not None and (
        (low is not None and of.value < low) or (high is not None and of.value > high)
    ):
        yield Cause("value.implausible", f"{of.value:g} {of.unit}, plausible is {low} to {high}")


def _of_pairs(beside: Beside, of: CurrentResult) -> Iterator[Cause]:
    """Free is never more than total: of the same sample, beyond what both are uncertain by."""
    if of.sample_id is None or of.value is None:
        return
    for less, more in PAIRS.items():
        if of.quantity in (less, more):
            other = _newest_of(beside, of, more if of.quantity == less else less)
            if other is None or other.value is None:
                continue
            small, large = (of, other) if of.quantity == less else (other, of)
            if _is_more(small, large):
                yield Cause("pair.impossible", f"{less} {small.value:g} is more than {more} {large.value:g}")


def _is_more(small: CurrentResult, large: CurrentResult) -> bool:
    if small.value is None or large.value is None:
        return False
    doubt = ((small.uncertainty or 0.0) ** 2 + (large.uncertainty or 0.0) ** 2) ** 0.5
    return bool(small.value - large.value > 2 * doubt)  # twice the standard uncertainty of the difference


def _newest_of(beside: Beside, of: CurrentResult, quantity: str) -> CurrentResult | None:
    if of.sample_id is None:
        return None
    usable = [
        one
        for one in beside.of_sample(of.sample_id)
        if one.quantity == quantity and one.mark != "rejected" and one.value is not None
    ]
    return usable[-1] if usable else None


def _of_replicates(beside: Beside, of: CurrentResult, method: Method) -> Iterator[Cause]:
    values = _replicate_values(beside, of)
    if method.repeatability_sd and len(values) > 1:
        verdict = judge_replicates(values[:4], method.repeatability_sd)
        if verdict.report in (Report.MEASURE_TWO_MORE, Report.MEDIAN_OF_FOUR):
            yield Cause(
                "duplicate.apart",
                f"{', '.join(f'{value:g}' for value in values)}: {verdict.spread:.3g} apart,"
                f" {verdict.limit:.3g} is allowed; {verdict.report}",
            )


def _replicate_values(beside: Beside, of: CurrentResult) -> list[float]:
    """Return the values of a result and its replicates, oldest first."""
    if of.sample_id is None:
        return []
    first = of.replicate_of or of.result_id
    family = [
        one
        for one in beside.of_sample(of.sample_id)
        if one.method_id == of.method_id and first in (one.result_id, one.replicate_of)
    ]
    return [one.value for one in family if one.value is not None and one.mark != "rejected"]


def _of_run(beside: Beside, of: CurrentResult) -> Iterator[Cause]:
    if of.run_id is None:
        return
    found = beside.run(of.run_id)
    if found is not None and found.how in ("aborted", "lost"):
        yield Cause("run.aborted", f"run {of.run_id}")
    for warning in beside.run_warnings(of.run_id):
        yield Cause("run.warned", f"{warning.code} in run {of.run_id}")
    notes = [note.kind for note in beside.run_notes(of.run_id) if note.kind != "note"]
    if notes and notes[-1] == "rejected":
        yield Cause("run.rejected", f"run {of.run_id}")


def _of_parts(beside: Beside, of: CurrentResult) -> Iterator[Cause]:
    """Yield the standing of each part: a result is never better than the worst that it stands on."""
    for source, part in beside.parts(of):
        standing = "do_not_use" if part.mark == "rejected" else part.standing
        if (code := INHERITED.get(standing or "")) is not None:
            told = "rejected" if part.mark == "rejected" else standing
            yield Cause(code, f"result {part.result_id} ({source.role}) is {told}")
        if not _may_stand_on(beside, of, part):
            yield Cause("input.other_sample", f"result {part.result_id} ({source.role})")


def _may_stand_on(beside: Beside, of: CurrentResult, part: CurrentResult) -> bool:
    """Tell whether a part is of the same sample, or of the same lot."""
    if of.sample_id == part.sample_id:
        return True
    if of.sample_id is None or part.sample_id is None:
        return False
    one, other = beside.lot(of.sample_id), beside.lot(part.sample_id)
    return one is not None and one == other


def _of_later(beside: Beside, of: CurrentResult, method: Method) -> Iterator[Cause]:
    """Yield that a later one replaced it: of what is worked out from results the latest of a sample holds."""
    if method.formula not in DERIVATIONS or of.sample_id is None:
        return
    later = [
        one
        for one in beside.of_sample(of.sample_id)
        if one.method_id == of.method_id and one.result_id > of.result_id and one.mark != "rejected"
    ]
    if later:
        yield Cause("result.replaced", f"result {later[-1].result_id}")


def family_of(beside: Beside, of: CurrentResult) -> list[CurrentResult]:
    """Return the results whose standing depends on this one: all others of its sample, and its first."""
    same = [] if of.sample_id is None else beside.of_sample(of.sample_id)
    family = {one.result_id: one for one in same if one.result_id != of.result_id}
    if of.replicate_of and of.replicate_of not in family:
        family |= {one.result_id: one for one in results_by_id(beside.connection, [of.replicate_of])}
    return list(family.values())

"""Results, made from tied readings or typed, with everything they stood on; judged and released."""

from collections.abc import Collection, Mapping, Sequence
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.beside import Beside
from bench.canonical_json import to_text
from bench.control_records import Evidence
from bench.derived import Derived, derivations
from bench.evaluation import Evaluated, evaluate
from bench.kinds.laboratory import Method
from bench.parts import dependents
from bench.reasons import Cause
from bench.records import Record, by_id, find_usable, held_at
from bench.refused import Fault, ForbiddenError, MalformedError, NotThereError, RefusedError
from bench.standing import decide, family_of, stored_causes
from evaluate.units import quantity
from storage.bench_rows import ReleaseRow, ResultInputRow, ResultRow, StandingRow
from storage.queries.results import CurrentResult, results_by_id
from storage.transaction import Transaction

OWN_CAUSES: Final = (
    "tie.",
    "formula.",
    "titrant.",
    "blank.",
    "temperature.",
    "outcome.not_stable",
    "value.against_history",
    "input.missing",
    "input.of_lot",
    "input.old",
)
"""Causes found when the value was worked out: they stay with it when the standing is decided anew."""


class Measured(NamedTuple):
    """What is to become a result."""

    given: float | None
    """First input of the method's formula; None if there is no number. [unit of that input]"""
    outcome: str
    """value, above_range, below_range or no_value."""
    at_us: int
    """When it was measured. [µs]"""
    instrument: str | None = None
    sample_id: int | None = None
    item_id: int | None = None
    run_id: int | None = None
    replicate_of: int | None = None
    hand: bool = False
    evidence: tuple[Evidence, ...] = ()
    causes: tuple[Cause, ...] = ()


def make_result(tx: Transaction, actor: Actor, method: Record[Method], measured: Measured) -> int:
    """Enter a result with what it stood on, its standing and, if the method lets it, its release.

    What is worked out from it, such as molecular SO2, is entered with it.
    """
    found = Evaluated(None, None, f"{method.body.formula}/1", {}, (), ())
    if measured.given is not None:
        found = evaluate(tx.connection, method, measured.given, measured.at_us, measured.instrument)
    number = enter_result(tx, actor, method, measured, found)
    derive(tx, actor, number)
    return number


def derive(tx: Transaction, actor: Actor, number: int) -> None:
    """Enter what can be worked out now that a result is there, or is of another sample."""
    for one in derivations(tx.connection, number):
        _make_derived(tx, actor, one)


def _make_derived(tx: Transaction, actor: Actor, one: Derived) -> int:
    measured = Measured(None, "value", one.of.at_us, None, one.of.sample_id)
    return enter_result(tx, actor, one.method, measured, one.evaluated)


def enter_result(
    tx: Transaction, actor: Actor, method: Record[Method], measured: Measured, found: Evaluated
) -> int:
    """Enter a result that was worked out already, judge it, and judge its family anew."""
    known = quantity(method.body.quantity)
    value, evidence = found.value, measured.evidence + found.evidence
    causes = measured.causes + found.causes
    number = tx.next_number
    outcome = measured.outcome if value is not None or measured.outcome != "value" else "no_value"
    row = ResultRow(
        sample_id=measured.sample_id,
        item_id=measured.item_id,
        quantity=method.body.quantity,
        method_id=method.record_id,
        method_version=method.version.version,
        instrument=measured.instrument,
        at_us=measured.at_us,
        outcome=outcome,
        value_numeral=None if value is None else repr(value),
        value=value,
        unit=known.unit,
        basis=found.basis or known.basis,
        end_point=method.body.end_point or known.end_point,
        uncertainty=found.uncertainty,
        formula=found.formula,
        inputs=to_text(dict(found.inputs)),
        run_id=measured.run_id,
        replicate_of=measured.replicate_of,
        hand=int(measured.hand),
        software_version=actor.software,
    )
    stood_on = [
        ResultInputRow(ordinal, number, 1, one.role, one.source, one.source_id, one.source_version)
        for ordinal, one in enumerate(dict.fromkeys(evidence))
    ]
    tx.enter(
        "result.made",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"result": [row], "result_input": stood_on},
    )
    _judge_made(tx, actor, number, causes)
    return number


def judge(
    tx: Transaction, actor: Actor, ids: Collection[int], own: Mapping[int, tuple[Cause, ...]] | None = None
) -> list[int]:
    """Decide the standing of results anew; enter what changed, release or withdraw; return what changed."""
    results = results_by_id(tx.connection, ids)
    return _judge(tx, actor, results, Beside(tx.connection, results), own or {})


def _judge(
    tx: Transaction,
    actor: Actor,
    results: Sequence[CurrentResult],
    beside: Beside,
    own: Mapping[int, tuple[Cause, ...]],
) -> list[int]:
    changed: list[StandingRow] = []
    marks: list[ReleaseRow] = []
    for of in results:
        kept = own.get(of.result_id)
        found = decide(beside, of, kept if kept is not None else own_causes(of))
        if (found.word, found.reasons) != (of.standing, of.reasons):
            changed.append(StandingRow(len(changed), of.result_id, found.word, found.reasons))
        if (mark := _mark(of, beside.method(of).body, found.word)) is not None:
            marks.append(ReleaseRow(len(marks), of.result_id, mark))
    if changed or marks:
        tx.enter(
            "results.judged",
            at_us=actor.at_us,
            actor=actor.name,
            actor_kind=actor.kind,
            reason=actor.reason,
            rows={"standing": changed, "release": marks},
        )
    ids = [row.result_id for row in changed]
    if standing_on := dependents(tx.connection, ids):
        judge(tx, actor, standing_on)
    return ids


def own_causes(of: CurrentResult) -> tuple[Cause, ...]:
    """Return the causes that were found when a value was worked out."""
    return tuple(cause for cause in stored_causes(of.reasons) if cause.code.startswith(OWN_CAUSES))


def held_version(connection: Connection, of: CurrentResult) -> Record[Method]:
    """Return the version of the method that a result was made by."""
    return by_id(connection, Method, of.method_id, of.method_version)


def _mark(of: CurrentResult, method: Method, standing: str) -> str | None:
    """Return the mark that follows from a new standing without a person: release, or withdrawal."""
    if of.mark == "rejected":
        return None
    if standing == "good" and method.release == "itself" and of.mark != "released":
        return "released"
    if standing in ("do_not_use", "provisional") and of.mark == "released":
        return "withdrawn"
    return None


def _judge_made(tx: Transaction, actor: Actor, number: int, causes: tuple[Cause, ...]) -> None:
    """Judge a result that was just entered, and its family anew."""
    (made,) = results_by_id(tx.connection, [number])
    beside = Beside(tx.connection, [made])
    family = family_of(beside, made)
    beside.widen(family)
    _judge(tx, actor, [made, *family], beside, {number: causes})


def release(tx: Transaction, actor: Actor, result_id: int, *, measured_by: Collection[str] = ()) -> None:
    """Give a result to readers; what is not good needs a reason, what is not to be used cannot be given."""
    of = _known(tx, result_id)
    method = held_version(tx.connection, of).body
    if of.standing == "do_not_use":
        raise RefusedError(
            "release.do_not_use", f"result {result_id} is not to be used: settle its causes first"
        )
    if of.standing != "good" and not actor.reason:
        raise MalformedError(
            "act.reason_wanted", "say why a result that is not good is released", Fault("reason", "is empty")
        )
    if method.release == "second_person" and actor.name in measured_by:
        raise ForbiddenError("release.second_person", "this method wants somebody who did not measure it")
    _enter_mark(tx, actor, "result.released", result_id, "released")


def reject(tx: Transaction, actor: Actor, result_id: int) -> None:
    """Exclude a result from use; its value stays readable, and a reason is wanted."""
    if not actor.reason:
        raise MalformedError("act.reason_wanted", "say why it is rejected", Fault("reason", "is empty"))
    _known(tx, result_id)
    _enter_mark(tx, actor, "result.rejected", result_id, "rejected")
    judge(tx, actor, dependents(tx.connection, [result_id]))


def _known(tx: Transaction, result_id: int) -> CurrentResult:
    found = results_by_id(tx.connection, [result_id])
    if not found:
        raise NotThereError("result.unknown", f"there is no result {result_id}")
    return found[0]


def _enter_mark(tx: Transaction, actor: Actor, action: str, result_id: int, mark: str) -> None:
    tx.enter(
        action,
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"release": [ReleaseRow(0, result_id, mark)]},
    )


def typed(
    tx: Transaction,
    actor: Actor,
    method_code: str,
    values: Sequence[float],
    measured: Measured,
) -> int:
    """Enter a value that a person read off; it is marked ``hand`` for ever, and is given twice."""
    if len(values) != 2 or values[0] != values[1]:
        raise MalformedError(
            "hand.not_twice",
            "a typed value is entered twice, and both must agree",
            Fault("value", "enter it again"),
        )
    found = find_usable(tx.connection, Method, method_code)
    method = held_at(tx.connection, Method, found.record_id, measured.at_us) or found
    return make_result(tx, actor, method, measured._replace(given=values[0], hand=True))

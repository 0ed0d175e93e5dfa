"""What a corrected reading makes of the results that stand on it: an amendment, never another original.

A result whose method no longer measures what the reading is shows no value; one that it measures again shows
what it amounts to now. A reading that no result stands on, and that a method measures now, becomes one.
"""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import Connection, select

from bench.actor import Actor
from bench.amendments import catch_up, put_in_force
from bench.canonical_json import from_text, to_text
from bench.evaluation import evaluate, uncertainty_of
from bench.kinds.laboratory import Method
from bench.records import Record, by_id
from bench.results import judge
from bench.settle import rule_of
from bench.taking import OUTCOMES, fits, given_of, take
from bench.ties import Bond, bond, tie_row
from evaluate.errors import EvaluateError
from evaluate.formulas import formula, recompute
from storage.bench_rows import AmendmentItemRow, AmendmentRow, ResultInputRow
from storage.queries import WITHDRAWN, UntakenReading, ledger_after
from storage.queries.results import (
    CurrentResult,
    newest_version,
    readings_with_results,
    results_by_id,
    results_standing_on,
    sources_of_result,
)
from storage.queries.trays import Tie, instruments_ever_set, tie_of, ties_of
from storage.rows import FaultRow, Row
from storage.schema import taken
from storage.transaction import Transaction
from storage.trouble import is_environment

BY_PERSON = ("hand", "swap", "untie")
"""Ties that somebody made; a corrected reading does not undo them."""


class _Now(NamedTuple):
    """What a result amounts to by its corrected reading."""

    outcome: str
    value: float | None
    uncertainty: float | None
    inputs: str


def correct(tx: Transaction, actor: Actor, readings: Sequence[UntakenReading]) -> None:
    """Bring results in step with corrected readings, in their order; of several versions the last counts."""
    newest = {reading.reading_id: reading for reading in readings}
    for reading in _concerned(tx.connection, list(newest.values())):
        try:
            with tx.attempt():
                _correct_one(tx, _by(tx.connection, actor, reading), reading)
        except Exception as error:  # a fault of ours in one stops neither the others nor the hearing
            if is_environment(error):
                raise  # the store is at fault: all of it is tried again
            text = f"reading {reading.reading_id}: {type(error).__name__}: {error}"
            _enter(tx, actor, "fault.found", fault=[FaultRow(None, None, "intake", text)])


def _concerned(connection: Connection, readings: Sequence[UntakenReading]) -> list[UntakenReading]:
    """Return those that a result stands on, or that belong to somebody: of a busy line these are few."""
    if not readings:
        return []
    ids = [one.reading_id for one in readings]
    known = {*readings_with_results(connection, ids), *ties_of(connection, ids)}
    ever_set = instruments_ever_set(connection, {one.instrument for one in readings})
    return [one for one in readings if one.reading_id in known or one.sample or one.instrument in ever_set]


def _by(connection: Connection, actor: Actor, reading: UntakenReading) -> Actor:
    """Return the actor with the reason for which the reading was corrected."""
    entries = ledger_after(connection, after=reading.number - 1, limit=1)
    why = entries[0].reason if entries and entries[0].reason else "without a reason"
    return Actor(
        actor.name,
        actor.kind,
        actor.at_us,
        f"reading {reading.reading_id} was corrected: {why}",
        actor.software,
    )


def _correct_one(tx: Transaction, actor: Actor, reading: UntakenReading) -> None:
    if _is_repeat(tx.connection, reading.reading_id):
        return
    found = _bound(tx, actor, reading)
    standing = results_by_id(
        tx.connection, results_standing_on(tx.connection, "reading", [reading.reading_id])
    )
    methods = [by_id(tx.connection, Method, of.method_id, of.method_version) for of in standing]
    items = [
        _item(tx.connection, of, now, found)
        for of, method in zip(standing, methods, strict=True)
        if (now := _now(tx.connection, of, method, reading)) != _as_it_stands(of)
        or (found is not None and found.sample_id != of.sample_id)
    ]
    if items:
        _amend(tx, actor, reading, items)
    measured = any(fits(method.body, reading) for method in methods)
    streams = rule_of(tx.connection, reading.instrument, reading.quantity) is not None
    if found is not None and not measured and not streams and reading.outcome != WITHDRAWN:
        take(tx, actor, [reading], {reading.reading_id: found})


def _is_repeat(connection: Connection, reading_id: int) -> bool:
    query = select(taken.c.repeat_of).where(taken.c.reading_number == reading_id)
    return connection.execute(query).scalar() is not None


def _bound(tx: Transaction, actor: Actor, reading: UntakenReading) -> Bond | None:
    """Return whose reading it is now; what its frame says of the sample may have been corrected too."""
    tied = tie_of(tx.connection, reading.reading_id)
    if tied is not None and tied.how in BY_PERSON:
        return Bond(tied.sample_id, tied.item_id, tied.how, tied.conflict)
    found = bond(tx.connection, reading)
    if found is not None and not _same_tie(tied, found):
        _enter(tx, actor, "reading.tied", tie=[tie_row(0, reading.reading_id, found)])
    return found


def _same_tie(tied: Tie | None, found: Bond) -> bool:
    return tied is not None and (tied.sample_id, tied.item_id) == (found.sample_id, found.item_id)


def _as_it_stands(of: CurrentResult) -> _Now:
    return _Now(of.outcome, of.value, of.uncertainty, of.inputs)


def _now(connection: Connection, of: CurrentResult, method: Record[Method], reading: UntakenReading) -> _Now:
    """Return what a result amounts to by its reading as it is now; inputs of another origin stay."""
    if not fits(method.body, reading):
        return _Now("no_value", None, None, of.inputs)
    given = given_of(reading)
    if given is None:
        return _Now(_outcome(reading), None, None, of.inputs)
    formula_id, version = of.formula.split("/")
    first = formula(formula_id, int(version)).inputs[0].name
    inputs = from_text(of.inputs)
    if first not in inputs:
        made = evaluate(connection, method, given, of.at_us, of.instrument)
        outcome = "value" if made.value is not None else "no_value"
        return _Now(outcome, made.value, made.uncertainty, to_text(dict(made.inputs)))
    inputs[first] = given
    try:
        value = recompute(formula_id, inputs, int(version))
        uncertainty = uncertainty_of(method.body, of.formula, inputs, value)
    except EvaluateError:
        return _Now("no_value", None, None, to_text(inputs))
    return _Now("value", value, uncertainty, to_text(inputs))


def _outcome(reading: UntakenReading) -> str:
    found = OUTCOMES.get(reading.outcome, "no_value")
    return "no_value" if found == "value" else found


def _item(connection: Connection, of: CurrentResult, now: _Now, found: Bond | None) -> AmendmentItemRow:
    return AmendmentItemRow(
        ordinal=0,
        amendment_id=0,
        result_id=of.result_id,
        version=newest_version(connection, of.result_id) + 1,
        sample_id=of.sample_id if found is None else found.sample_id,
        outcome=now.outcome,
        value_numeral=None if now.value is None else repr(now.value),
        value=now.value,
        unit=of.unit,
        uncertainty=now.uncertainty,
        formula=of.formula,
        inputs=now.inputs,
    )


def _amend(tx: Transaction, actor: Actor, reading: UntakenReading, items: Sequence[AmendmentItemRow]) -> None:
    number = tx.next_number
    row = AmendmentRow("driver", to_text({"readings": [reading.reading_id]}), len(items))
    _enter(tx, actor, "amendment.begun", amendment=[row])
    staged = [one._replace(ordinal=place, amendment_id=number) for place, one in enumerate(items)]
    stood_on = [row for one in items for row in _sources(tx.connection, one, reading)]
    numbered = [row._replace(ordinal=place) for place, row in enumerate(stood_on)]
    _enter(tx, actor, "amendment.staged", amendment_item=staged, result_input=numbered)
    put_in_force(tx, actor, number)
    ids = [one.result_id for one in items]
    judge(tx, actor, [*ids, *catch_up(tx, actor, ids)])


def _sources(connection: Connection, item: AmendmentItemRow, reading: UntakenReading) -> list[ResultInputRow]:
    """Return what the original stood on, with the corrected version of the reading."""
    rows = []
    for one in sources_of_result(connection, item.result_id, 1):
        is_it = one.source == "reading" and one.source_id == reading.reading_id
        version = reading.version if is_it else one.source_version
        rows.append(
            ResultInputRow(0, item.result_id, item.version, one.role, one.source, one.source_id, version)
        )
    return rows


def _enter(tx: Transaction, actor: Actor, action: str, **rows: Sequence[Row]) -> int:
    return tx.enter(
        action, at_us=actor.at_us, actor=actor.name, actor_kind=actor.kind, reason=actor.reason, rows=rows
    )

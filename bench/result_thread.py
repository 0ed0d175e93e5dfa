"""The thread of a result: from the number back to its formula, and to everything that it stood on.

What each part was at the moment of the measurement is asked again here; nothing is decided.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.canonical_json import from_text
from bench.control_records import HOUR_US, IN_CONTROL, StateAt, state_at
from bench.evaluation import named_reagent
from bench.holds import covering
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method, Reagent
from bench.records import Record, by_id, held_at
from evaluate.formulas import complete_inputs, formula, recompute, worked
from storage.queries.control_records import (
    ControlRecord,
    Source,
    control_record_by_number,
    latest_control_record,
    next_control_record,
)
from storage.queries.holds import Hold, holds
from storage.queries.records import links_of
from storage.queries.result_versions import AmendedValue, amended_values
from storage.queries.results import (
    Change,
    CurrentResult,
    history_of_result,
    original_result,
    results_by_id,
    sources_of_result,
)
from storage.queries.runs import CurvePoint, Run, RunNote, RunWarning, points_of_run, run_notes, run_of
from storage.queries.runs import run_warnings as warnings_of

SAME_DIGITS: Final = 1e-12
"""Relative difference up to which a value that is computed again is the same: 12 digits, our choice. [1]"""


class NumberInFormula(NamedTuple):
    """An input or a constant with its number."""

    name: str
    value: float
    unit: str
    words: str
    """What it means, or where a constant comes from."""


@dataclass(frozen=True, slots=True)
class Working:
    """A formula with the numbers in it."""

    formula: str
    """Id and version."""
    text: str
    numbers: str
    """The text with its numbers."""
    value: float
    """As it is computed now. [unit]"""
    unit: str
    agrees: bool
    """Whether it is the stored value to 12 digits."""
    inputs: tuple[NumberInFormula, ...]
    constants: tuple[NumberInFormula, ...]
    source: str


class Cover(NamedTuple):
    """What the checks with one material say of the moment."""

    material: Record[Reagent]
    passed: ControlRecord | None
    """The last that passed before."""
    following: ControlRecord | None
    """The next one, whatever it says."""
    covers: bool
    """Whether one passed before, not longer ago than a check covers."""


class RunThread(NamedTuple):
    """The titration that gave the number."""

    run: Run
    warnings: Sequence[RunWarning]
    notes: Sequence[RunNote]
    points: Sequence[CurvePoint]


@dataclass(frozen=True, slots=True)
class ResultThread:
    """A result with everything that it stood on."""

    result: CurrentResult
    original: CurrentResult
    amended: tuple[AmendedValue, ...]
    history: tuple[Change, ...]
    sources: tuple[Source, ...]
    working: Working | None
    """None where there is no number, or its formula took no part."""
    method: Record[Method]
    sample: Record[Sample] | None
    titrant: Record[Reagent] | None
    """As it was when the result was made."""
    reagents: tuple[Record[Reagent], ...]
    controls: tuple[tuple[str, ControlRecord], ...]
    """Standardisation, blank and their like that entered the number, by role."""
    calibration: StateAt | None
    verification: StateAt | None
    checks: tuple[Cover, ...]
    holds: tuple[Hold, ...]
    run: RunThread | None
    reading_ids: tuple[int, ...]
    from_results: tuple[CurrentResult, ...]


def thread_of(connection: Connection, result_id: int) -> ResultThread | None:
    """Return the thread of a result; None if there is no such result."""
    original = original_result(connection, result_id)
    if original is None:
        return None
    (result,) = results_by_id(connection, [result_id])
    method = by_id(connection, Method, result.method_id, result.method_version)
    sources = tuple(
        sources_of_result(connection, result_id, result.version)
        or sources_of_result(connection, result_id, 1)
    )
    titrant = _named(connection, sources, "titrant") or named_reagent(
        connection, method, "titrant", result.at_us
    )
    return ResultThread(
        result=result,
        original=original,
        amended=tuple(amended_values(connection, result_id)),
        history=tuple(history_of_result(connection, result_id)),
        sources=sources,
        working=working_of(result),
        method=method,
        sample=None if result.sample_id is None else by_id(connection, Sample, result.sample_id),
        titrant=titrant,
        reagents=tuple(_linked(connection, method, "reagents", result.at_us)),
        controls=tuple(_controls(connection, sources)),
        calibration=_state(connection, "calibration", result, needed=method.body.needs_calibration),
        verification=_state(connection, "verification", result, needed=method.body.needs_verification),
        checks=tuple(_covers(connection, method, result)),
        holds=tuple(
            covering(
                holds(connection),
                at_us=result.at_us,
                instrument=result.instrument,
                method_id=result.method_id,
                titrant_id=None if titrant is None else titrant.record_id,
            )
        ),
        run=None if result.run_id is None else _run(connection, result.run_id),
        reading_ids=tuple(dict.fromkeys(one.source_id for one in sources if one.source == "reading")),
        from_results=tuple(
            results_by_id(connection, [one.source_id for one in sources if one.source == "result"])
        ),
    )


def working_of(result: CurrentResult) -> Working | None:
    """Return the calculation of a result as it stands; None if it has no number."""
    if result.value is None:
        return None
    formula_id, version = result.formula.split("/")
    chosen = formula(formula_id, int(version))
    inputs = complete_inputs(formula_id, from_text(result.inputs), int(version))
    value = recompute(formula_id, inputs, int(version))
    return Working(
        formula=result.formula,
        text=chosen.text,
        numbers=worked(formula_id, inputs, int(version)).splitlines()[2].removeprefix("= "),
        value=value,
        unit=result.unit,
        agrees=abs(value - result.value) <= SAME_DIGITS * max(abs(value), abs(result.value)),
        inputs=tuple(
            NumberInFormula(one.name, inputs[one.name], one.unit or result.unit, one.meaning)
            for one in chosen.inputs
        ),
        constants=tuple(NumberInFormula(*one) for one in chosen.constants),
        source=chosen.source,
    )


def _named(connection: Connection, sources: Sequence[Source], role: str) -> Record[Reagent] | None:
    """Return the reagent that a result names in a role, in the version that it names."""
    for one in sources:
        if one.role == role and one.source == "record":
            return by_id(connection, Reagent, one.source_id, one.source_version)
    return None


def _linked(
    connection: Connection, method: Record[Method], role: str, at_us: int
) -> Iterable[Record[Reagent]]:
    for named, target in links_of(connection, method.record_id, method.version.version):
        if named == role and (found := held_at(connection, Reagent, target, at_us)) is not None:
            yield found


def _controls(connection: Connection, sources: Sequence[Source]) -> Iterable[tuple[str, ControlRecord]]:
    for one in sources:
        if one.source == "control_record":
            found = control_record_by_number(connection, one.source_id)
            if found is not None:
                yield one.role, found


def _state(connection: Connection, kind: str, result: CurrentResult, *, needed: bool) -> StateAt | None:
    """Return what is known of the electrode at that moment; None if the method asks for none."""
    return state_at(connection, kind, result.at_us, instrument=result.instrument) if needed else None


def _covers(connection: Connection, method: Record[Method], result: CurrentResult) -> Iterable[Cover]:
    every_h = method.body.check_every_h
    for material in _linked(connection, method, "checks", result.at_us):
        passed = latest_control_record(
            connection,
            "check",
            result.at_us,
            instrument=result.instrument,
            subject_id=material.record_id,
            verdicts=tuple(verdict.value for verdict in IN_CONTROL),
        )
        following = next_control_record(
            connection, "check", result.at_us, instrument=result.instrument, subject_id=material.record_id
        )
        in_time = passed is not None and (every_h is None or result.at_us - passed.at_us <= every_h * HOUR_US)
        yield Cover(material, passed, following, in_time)


def _run(connection: Connection, number: int) -> RunThread | None:
    found = run_of(connection, number)
    if found is None:
        return None
    return RunThread(
        found,
        warnings_of(connection, number),
        run_notes(connection, number),
        points_of_run(connection, found),
    )

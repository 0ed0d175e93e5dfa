"""Calibrations, standardisations, blanks, checks and their like as records, and their state at a moment."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench import judging
from bench.actor import Actor
from bench.canonical_json import to_text
from bench.holds import close_to_the_front, open_hold
from bench.judging import Judged
from bench.kinds.laboratory import Acceptance, LimitSet
from bench.records import Record, read
from bench.refused import Fault, MalformedError
from evaluate.control_charts import Limits
from evaluate.errors import EvaluateError
from evaluate.rule_definitions import Verdict
from storage.bench_rows import ControlInputRow, ControlRecordRow
from storage.queries.control_records import ControlRecord, control_records, latest_control_record
from storage.queries.records import records_of_kind
from storage.transaction import Transaction

HOUR_US: Final = 3_600_000_000  # [µs]
IN_CONTROL: Final = frozenset({Verdict.PASS, Verdict.WARN, Verdict.REVIEW})
MAY_OPEN_A_HOLD: Final = frozenset({"calibration", "verification", "standardisation", "check", "mass_check"})


class State(StrEnum):
    """What a control record says of a moment."""

    VALID = "valid"
    WARNED = "warned"
    EXPIRED = "expired"
    FAILED = "failed"
    UNKNOWN = "unknown"


class StateAt(NamedTuple):
    """A state with the record that it comes from."""

    state: State
    record: ControlRecord | None


class Evidence(NamedTuple):
    """Something that a record was made from."""

    role: str
    source: str
    """reading, record, control_record, result or run."""
    source_id: int
    source_version: int | None = None


@dataclass(frozen=True, slots=True)
class About:
    """What a record speaks of."""

    kind: str
    at_us: int
    """When it was measured. [µs]"""
    instrument: str | None = None
    subject_id: int | None = None
    """The record of the titrant, standard, buffer or control material."""
    method_id: int | None = None
    method_version: int | None = None
    hand: bool = False
    """Whether a figure of it was typed."""
    limit_set: Record[LimitSet] | None = None


def acceptance(connection: Connection, kind: str, instrument: str | None) -> Acceptance:
    """Return what records of a kind must meet: the instrument's own acceptance, else the general one."""
    found = [read(one, Acceptance).body for one in records_of_kind(connection, "acceptance", retired=False)]
    fitting = [one for one in found if one.applies_to == kind and one.instrument in ("", instrument)]
    return max(fitting, key=lambda one: bool(one.instrument), default=Acceptance(applies_to="calibration"))


def enter(
    tx: Transaction,
    actor: Actor,
    about: About,
    judged: Judged,
    *,
    evidence: Sequence[Evidence],
) -> int:
    """Enter a judged record and return its number; a failed one opens a hold since the last that passed."""
    valid_h = acceptance(tx.connection, about.kind, about.instrument).valid_h
    valid_until_us = None if valid_h is None else about.at_us + round(valid_h * HOUR_US)
    limit_set = about.limit_set
    number = tx.next_number
    row = ControlRecordRow(
        kind=about.kind,
        instrument=about.instrument,
        subject_id=about.subject_id,
        method_id=about.method_id,
        method_version=about.method_version,
        at_us=about.at_us,
        quantity=judged.quantity,
        value_numeral=None if judged.value is None else repr(judged.value),
        value=judged.value,
        unit=judged.unit,
        uncertainty=judged.uncertainty,
        verdict=judged.verdict.value,
        reasons=to_text(list(judged.reasons)),
        details=to_text(dict(judged.details)),
        hand=int(about.hand),
        valid_until_us=valid_until_us,
        limit_set_id=None if limit_set is None else limit_set.record_id,
        limit_set_version=None if limit_set is None else limit_set.version.version,
        software_version=actor.software,
    )
    inputs = [ControlInputRow(ordinal, *one) for ordinal, one in enumerate(evidence)]
    tx.enter(
        f"{about.kind}.judged",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"control_record": [row], "control_input": inputs},
    )
    if about.kind in MAY_OPEN_A_HOLD:
        if judged.verdict is Verdict.FAIL:
            open_hold(tx, actor, number)
        elif judged.verdict in IN_CONTROL:
            close_to_the_front(tx, actor, number)
    return number


def judged_or_refused(judge: Callable[[], Judged]) -> Judged:
    """Return a judgement; raise `MalformedError` if the figures make none."""
    try:
        return judge()
    except EvaluateError as error:
        raise MalformedError("control.cannot_be_judged", str(error), Fault("", str(error))) from error


def judge_check(connection: Connection, about: About, value: float, unit: str, quantity: str) -> Judged:
    """Return the verdict on a control value, by the limit set in force and the values it judged before."""
    limit_set = about.limit_set
    if limit_set is None:
        return judging.check(value, unit, quantity, earlier=(), limits=None, rule_set="nordtest")
    earlier = [
        one.value
        for one in control_records(connection, kind="check", subject_id=about.subject_id, limit=100_000)
        if one.value is not None
        and (one.limit_set_id, one.limit_set_version) == (limit_set.record_id, limit_set.version.version)
        and one.instrument == about.instrument
        and one.at_us < about.at_us
    ]
    body = limit_set.body
    limits = Limits(body.centre, body.sd, body.values_used or None)
    return judging.check(value, unit, quantity, earlier=earlier, limits=limits, rule_set=body.rule_set)


def state_at(
    connection: Connection,
    kind: str,
    at_us: int,
    *,
    instrument: str | None = None,
    subject_id: int | None = None,
    method_id: int | None = None,
) -> StateAt:
    """Return what the newest record of a kind says of a moment. [µs]

    A failed one stays failed until another comes; one that was not evaluated says nothing.
    """
    found = latest_control_record(
        connection,
        kind,
        at_us,
        instrument=instrument,
        subject_id=subject_id,
        method_id=method_id,
        verdicts=tuple(verdict.value for verdict in (*IN_CONTROL, Verdict.FAIL)),
    )
    if found is None:
        return StateAt(State.UNKNOWN, None)
    if found.verdict == Verdict.FAIL.value:
        return StateAt(State.FAILED, found)
    if found.valid_until_us is not None and at_us > found.valid_until_us:
        return StateAt(State.EXPIRED, found)
    return StateAt(State.VALID if found.verdict == Verdict.PASS.value else State.WARNED, found)

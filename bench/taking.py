"""What a tied reading becomes: a result by the method asked, a check, a blank, or nothing of its own."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from sqlalchemy import Connection

from bench import judging
from bench.actor import Actor
from bench.control_records import About, Evidence, acceptance, enter, judge_check
from bench.evaluation import evaluate
from bench.kinds.laboratory import LimitSet, Method
from bench.left_to_judge import Extent, judge_newest
from bench.normalise import normal
from bench.reasons import Cause
from bench.records import Record, find, held_at, read
from bench.results import Measured, make_result
from bench.ties import Bond
from bench.tray import mark_measured, tests_of
from evaluate.units import quantity
from storage.queries.holds import holds
from storage.queries.readings import UntakenReading
from storage.queries.records import records_naming, records_of_kind
from storage.queries.result_statements import ResultFilter
from storage.queries.results import results_after
from storage.queries.runs import run_before
from storage.queries.trays import TrayItem, tray_item_by_id
from storage.rows import FaultRow
from storage.transaction import Transaction
from storage.trouble import is_environment

OUTCOMES: Final = {"value": "value", "above_range": "above_range", "below_range": "below_range"}
"""How the outcome of a reading stands with its result; every other one is no value."""
CONFLICT_EVIDENCE: Final = "the reading's frame or tray"


def take(
    tx: Transaction,
    actor: Actor,
    readings: Sequence[UntakenReading],
    bonds: Mapping[int, Bond],
    *,
    causes: tuple[Cause, ...] = (),
) -> None:
    """Make what each tied reading amounts to, in the order of the readings; `causes` lower what is made."""
    for reading in readings:
        found = bonds.get(reading.reading_id)
        if found is not None:
            _take_or_say_why_not(tx, actor, reading, found, causes)


def _take_or_say_why_not(
    tx: Transaction, actor: Actor, reading: UntakenReading, bond: Bond, causes: tuple[Cause, ...]
) -> None:
    """Take one reading; a fault of ours in it is entered, and stops neither the others nor the hearing.

    Nothing of a reading that is half taken is kept.
    """
    try:
        with tx.attempt():
            _take_one(tx, actor, reading, bond, causes)
    except Exception as error:
        if is_environment(error):
            raise  # the store is at fault: all of it is tried again
        row = FaultRow(None, None, "intake", f"reading {reading.reading_id}: {type(error).__name__}: {error}")
        tx.enter(
            "fault.found", at_us=actor.at_us, actor=actor.name, actor_kind=actor.kind, rows={"fault": [row]}
        )


def _take_one(
    tx: Transaction, actor: Actor, reading: UntakenReading, bond: Bond, causes: tuple[Cause, ...]
) -> None:
    item = None if bond.item_id is None else tray_item_by_id(tx.connection, bond.item_id)
    method = method_for(tx.connection, reading, item)
    if method is None:
        return
    if item is not None and item.kind in ("check", "blank"):
        _take_control(tx, actor, reading, item, method)
    elif item is None or item.kind in ("sample", "duplicate"):
        measured = _measured(tx.connection, reading, bond, item, method)
        make_result(tx, actor, method, measured._replace(causes=(*measured.causes, *causes)))
    if item is not None and item.state == "waiting":
        mark_measured(tx, actor, item)


def method_for(
    connection: Connection, reading: UntakenReading, item: TrayItem | None
) -> Record[Method] | None:
    """Return the method a reading was measured by: the one asked of the item, or the only one that fits.

    None if none or several fit: a method is never guessed. It is the version that held when it was measured.
    """
    asked = [] if item is None else [find(connection, Method, code) for code in tests_of(item)]
    known = asked or [read(one, Method) for one in records_of_kind(connection, "method", retired=False)]
    held = [held_at(connection, Method, one.record_id, reading.at_us) or one for one in known]
    fitting = [one for one in held if fits(one.body, reading)]
    return fitting[0] if len(fitting) == 1 else None


def fits(method: Method, reading: UntakenReading) -> bool:
    """Tell whether a method measures with such a reading."""
    return (
        reading.quantity == (method.reading_quantity or method.quantity)
        and (not method.instruments or reading.instrument in method.instruments)
        and (not method.modes or reading.mode is None or reading.mode in method.modes)
    )


def given_of(reading: UntakenReading) -> float | None:
    """Return the number of a reading in the unit its quantity is kept in; None if there is none."""
    found = normal(reading.quantity, reading.outcome, reading.value_numeral, reading.unit)
    return None if found.numeral is None else float(found.numeral)


def _measured(
    connection: Connection, reading: UntakenReading, bond: Bond, item: TrayItem | None, method: Record[Method]
) -> Measured:
    causes = [] if bond.conflict is None else [Cause(bond.conflict, CONFLICT_EVIDENCE)]
    if reading.stable is False or reading.outcome == "not_stable":
        causes.append(Cause("outcome.not_stable", f"reading {reading.reading_id}"))
    return Measured(
        given=given_of(reading),
        outcome=OUTCOMES.get(reading.outcome, "no_value"),
        at_us=reading.at_us,
        instrument=reading.instrument,
        sample_id=bond.sample_id,
        item_id=bond.item_id,
        run_id=run_of_reading(connection, reading),
        replicate_of=_replicated(connection, bond, item, method),
        evidence=(Evidence("reading", "reading", reading.reading_id, reading.version),),
        causes=tuple(causes),
    )


RUN_BEHIND_US: Final = 60_000_000
"""How long after the end of a run its result may come, where no sequence says whose it is. [µs]"""


def run_of_reading(connection: Connection, reading: UntakenReading) -> int | None:
    """Return the run that gave a reading: by its sequence, else the one that goes on or has just ended."""
    before = run_before(connection, reading.instrument, reading.number)
    if before is None:
        return None
    run, sequence = before
    if sequence is not None and reading.sequence is not None:
        return run.number if sequence == reading.sequence else None
    ended_us = run.ended_at_us
    return run.number if ended_us is None or reading.at_us - ended_us <= RUN_BEHIND_US else None


def _replicated(
    connection: Connection, bond: Bond, item: TrayItem | None, method: Record[Method]
) -> int | None:
    """Return the result that this one is a replicate of: the first of the sample by the method."""
    if bond.sample_id is None or item is None or item.kind != "duplicate":
        return None
    wanted = ResultFilter(sample_ids=(bond.sample_id,), method_id=method.record_id)
    earlier = results_after(connection, wanted, limit=1)
    return earlier[0].result_id if earlier else None


def _take_control(
    tx: Transaction,
    actor: Actor,
    reading: UntakenReading,
    item: TrayItem,
    method: Record[Method],
) -> None:
    given = given_of(reading)
    if given is None:
        return
    evidence = [Evidence("reading", "reading", reading.reading_id, reading.version)]
    about = About(
        item.kind,
        reading.at_us,
        reading.instrument,
        item.standard_id,
        method.record_id,
        method.version.version,
    )
    if item.kind == "blank":
        settings = acceptance(tx.connection, "blank", reading.instrument).settings
        enter(tx, actor, about, judging.blank([given], settings), evidence=evidence)
        return
    enter_check(tx, actor, about, method, given, evidence=evidence)


def enter_check(
    tx: Transaction,
    actor: Actor,
    about: About,
    method: Record[Method],
    given: float,
    *,
    evidence: Sequence[Evidence],
) -> int:
    """Work a check out by its method, judge it, and judge anew the results that it speaks for."""
    found = evaluate(tx.connection, method, given, about.at_us, about.instrument)
    with_limits = replace(
        about, limit_set=limit_set_of(tx.connection, about.subject_id, method.body.quantity)
    )
    unit = quantity(method.body.quantity).unit
    if found.value is None:
        why = "; ".join(cause.evidence for cause in found.causes)
        judged = judging.not_evaluated(method.body.quantity, unit, why)
    else:
        judged = judge_check(tx.connection, with_limits, found.value, unit, method.body.quantity)
    number = enter(tx, actor, with_limits, judged, evidence=[*evidence, *found.evidence])
    judge_covered(tx, actor, about)
    return number


def limit_set_of(
    connection: Connection, material_id: int | None, quantity_code: str
) -> Record[LimitSet] | None:
    """Return the limit set in force of a control material for a quantity; the newest of several."""
    if material_id is None:
        return None
    found = [read(one, LimitSet) for one in records_naming(connection, material_id, "material", "limit_set")]
    fitting = [one for one in found if one.body.quantity == quantity_code and not one.version.retired]
    return fitting[-1] if fitting else None


REACH_US: Final = 7 * 86_400_000_000
"""How far behind a check results may lie whose standing it can change without a hold. [µs]"""


def judge_covered(tx: Transaction, actor: Actor, about: About) -> list[int]:
    """Judge anew the results beside a record that was entered: those before it in a hold, those after it.

    The newest are judged now, many more are left for the next pieces; returns what changed by now.
    """
    brackets = [
        one.from_us for one in holds(tx.connection, open_only=True) if one.instrument == about.instrument
    ]
    from_us = min([about.at_us - REACH_US, *brackets])
    return judge_newest(tx, actor, Extent(max(0, from_us), None, about.instrument, about.method_id))

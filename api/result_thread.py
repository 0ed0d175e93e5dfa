"""The thread of a result as it is shown: the bench's part, and each reading's walk back to its bytes."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from api.problems import not_found
from api.routes.control_records import control_record_body
from api.routes.results import result_body
from api.routes.trays import ties_body
from api.schemas.readings import driver_body, reading_body, thread_frame_body
from api.schemas.result_thread import (
    ActBody,
    ControlOfBody,
    CoverBody,
    HoldOfBody,
    NamedVersionBody,
    NumberBody,
    PointBody,
    ResultThreadBody,
    RunOfBody,
    StateOfBody,
    TiedReadingBody,
    ValueVersionBody,
    WorkingBody,
)
from api.thread import Thread, read_thread
from api.times import rfc3339
from bench.canonical_json import from_text
from bench.control_records import StateAt
from bench.kinds.base import Body as Fields
from bench.records import Record
from bench.result_thread import Cover, NumberInFormula, ResultThread, RunThread, Working, thread_of
from storage.queries.control_records import ControlRecord
from storage.queries.result_versions import AmendedValue
from storage.queries.results import Change


@dataclass(frozen=True, slots=True)
class WholeThread:
    """The answer, and the walks to the bytes that a page draws."""

    body: ResultThreadBody
    readings: Mapping[int, Thread]
    """By the id of the reading."""
    run: RunThread | None


def read_result_thread(connection: Connection, result_id: int) -> WholeThread:
    """Return the thread of a result; raise the problem 404 if there is no such result."""
    found = thread_of(connection, result_id)
    if found is None:
        raise not_found(f"there is no result {result_id}; take ids from id in /api/v1/results")
    walks = {one: read_thread(connection, one) for one in found.reading_ids}
    return WholeThread(_body(connection, found, walks), walks, found.run)


def _body(connection: Connection, found: ResultThread, walks: Mapping[int, Thread]) -> ResultThreadBody:
    return ResultThreadBody(
        result=result_body(connection, found.result),
        working=None if found.working is None else _working(found.working),
        versions=[_original(found), *map(_amended, found.amended)],
        history=[_act(one) for one in found.history],
        stood_on=[
            {"role": one.role, "source": one.source, "id": one.source_id, "version": one.source_version}
            for one in found.sources
        ],
        software=found.original.software_version,
        method=_named(found.method),
        sample=None if found.sample is None else _named(found.sample),
        titrant=None if found.titrant is None else _named(found.titrant),
        reagents=[_named(one) for one in found.reagents],
        controls=[
            ControlOfBody(role=role, record=control_record_body(connection, record))
            for role, record in found.controls
        ],
        calibration=_state(connection, found.calibration),
        verification=_state(connection, found.verification),
        checks=[_cover(connection, one) for one in found.checks],
        holds=[
            HoldOfBody(
                number=one.number,
                begin=rfc3339(one.from_us),
                end=None if one.until_us is None else rfc3339(one.until_us),
                settled=one.settled,
            )
            for one in found.holds
        ],
        run=None if found.run is None else _run(found.run),
        readings=[_reading(connection, one, walks[one]) for one in found.reading_ids],
        from_results=[result_body(connection, one) for one in found.from_results],
    )


def _working(of: Working) -> WorkingBody:
    return WorkingBody(
        formula=of.formula,
        text=of.text,
        numbers=of.numbers,
        value=of.value,
        unit=of.unit,
        agrees=of.agrees,
        inputs=[_number(one) for one in of.inputs],
        constants=[_number(one) for one in of.constants],
        source=of.source,
    )


def _number(one: NumberInFormula) -> NumberBody:
    return NumberBody(name=one.name, value=one.value, unit=one.unit, words=one.words)


def _original(found: ResultThread) -> ValueVersionBody:
    one, made = found.original, found.history[0]
    return ValueVersionBody(
        version=1,
        amendment=None,
        state="original",
        value=one.value,
        unit=one.unit,
        uncertainty=one.uncertainty,
        formula=one.formula,
        inputs=from_text(one.inputs),
        actor=made.actor,
        at=rfc3339(made.at_us),
        reason=made.reason,
    )


def _amended(one: AmendedValue) -> ValueVersionBody:
    return ValueVersionBody(
        version=one.version,
        amendment=one.amendment_id,
        state=one.state or "staged",
        value=one.value,
        unit=one.unit,
        uncertainty=one.uncertainty,
        formula=one.formula,
        inputs=from_text(one.inputs),
        actor=one.actor,
        at=rfc3339(one.at_us),
        reason=one.reason,
    )


def _act(one: Change) -> ActBody:
    return ActBody(
        number=one.number, what=one.what, actor=one.actor, at=rfc3339(one.at_us), reason=one.reason
    )


def _named(record: Record[Any]) -> NamedVersionBody:
    fields: Fields = record.body
    return NamedVersionBody(
        code=record.code, version=record.version.version, fields=fields.model_dump(mode="json")
    )


def _state(connection: Connection, found: StateAt | None) -> StateOfBody | None:
    if found is None:
        return None
    return StateOfBody(state=found.state.value, record=_control(connection, found.record))


def _control(connection: Connection, record: ControlRecord | None) -> Any:
    return None if record is None else control_record_body(connection, record)


def _cover(connection: Connection, one: Cover) -> CoverBody:
    return CoverBody(
        material=one.material.code,
        covers=one.covers,
        passed=_control(connection, one.passed),
        following=_control(connection, one.following),
    )


def _run(of: RunThread) -> RunOfBody:
    return RunOfBody(
        number=of.run.number,
        started_at=rfc3339(of.run.started_at_us),
        ended_at=None if of.run.ended_at_us is None else rfc3339(of.run.ended_at_us),
        how=of.run.how,
        warnings=[one.code for one in of.warnings],
        notes=[f"{one.kind}: {one.text}" for one in of.notes],
        points=[
            PointBody(
                volume_ml=one.volume_ml,
                signal=one.signal,
                quantity=one.signal_quantity,
                unit=one.signal_unit,
                temperature_c=one.temperature_c,
                elapsed_s=one.elapsed_s,
            )
            for one in of.points
        ],
    )


def _reading(connection: Connection, reading_id: int, walk: Thread) -> TiedReadingBody:
    return TiedReadingBody(
        reading=reading_body(walk.versions[-1]),
        versions=[reading_body(version) for version in walk.versions],
        frame=thread_frame_body(walk.frame, walk.data),
        driver=driver_body(walk.driver),
        ties=ties_body(connection, reading_id).items,
    )

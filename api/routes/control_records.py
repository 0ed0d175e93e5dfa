"""Calibrations, standardisations, blanks, checks and their like: entered, judged, asked of."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.desk import Desk, DeskOf, Work
from api.left_to_judge import judge_what_is_left
from api.parameters import After, Identifier, Limit, Moment
from api.problems import not_found
from api.routes.trays import code_of
from api.routing import Endpoint, reads, writes
from api.schemas.bench import (
    BlankBody,
    CalibrationBody,
    CheckBody,
    ControlBody,
    ControlRecordBody,
    ControlRecordPage,
    MadeAnswer,
    MassCheckBody,
    PumpFactorBody,
    StandardisationBody,
    StateBody,
    VerificationBody,
)
from api.times import rfc3339
from bench import judging
from bench.actor import Actor
from bench.canonical_json import from_text
from bench.control_records import About, Evidence, acceptance, enter, judged_or_refused, state_at
from bench.judging import Judged
from bench.kinds.laboratory import Method, Reagent
from bench.records import Record, find_usable
from bench.refused import Fault, MalformedError, NotThereError
from bench.taking import enter_check, judge_covered
from storage.queries.control_records import (
    ControlRecord,
    control_record_by_number,
    control_records,
    sources_of_control_record,
)
from storage.queries.readings import reading_versions
from storage.transaction import Transaction

router = APIRouter(tags=["control records"])
Kind = Literal[
    "calibration", "verification", "standardisation", "blank", "pump_factor", "check", "mass_check"
]
Judge = Callable[[Transaction, dict[str, float]], Judged]


async def _enter(
    desk: Desk,
    services: Any,
    kind: str,
    body: ControlBody,
    judge: Judge,
    *,
    subject: str | None = None,
    method: str | None = None,
) -> Any:
    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        about = _about(tx, kind, body, services.clock_us(), subject=subject, method=method)
        settings = dict(acceptance(tx.connection, kind, body.instrument).settings)
        judged = judged_or_refused(lambda: judge(tx, settings))
        number = enter(tx, by, about, judged, evidence=_evidence(tx, body))
        judge_covered(tx, by, about)
        return {"id": number}

    return await _done(desk, work, body.reason)


async def _done(desk: Desk, work: Work, reason: str | None) -> Any:
    """Act, and see to what the act left to be judged."""
    made = await desk.act(work, reason=reason, status=HTTPStatus.CREATED)
    await judge_what_is_left(desk)
    return made


def _about(
    tx: Transaction, kind: str, body: ControlBody, now_us: int, *, subject: str | None, method: str | None
) -> About:
    at_us = now_us if body.at is None else body.at
    if at_us > now_us:
        raise MalformedError(
            "control.future", "it cannot have been measured in the future", Fault("at", "later than now")
        )
    reagent = None if subject is None else find_usable(tx.connection, Reagent, subject)
    by: Record[Method] | None = None if method is None else find_usable(tx.connection, Method, method)
    return About(
        kind,
        at_us,
        body.instrument,
        None if reagent is None else reagent.record_id,
        None if by is None else by.record_id,
        None if by is None else by.version.version,
        hand=not body.readings,
    )


def _evidence(tx: Transaction, body: ControlBody) -> list[Evidence]:
    found = []
    for reading_id in body.readings:
        versions = reading_versions(tx.connection, reading_id)
        if not versions:
            raise NotThereError(
                "reading.unknown", f"there is no reading {reading_id}", Fault("readings", str(reading_id))
            )
        found.append(Evidence("reading", "reading", reading_id, versions[-1].version))
    return found


def _posts(path: str, summary: str) -> Callable[[Endpoint], Endpoint]:
    return writes(
        router, "POST", path, response_model=MadeAnswer, status_code=HTTPStatus.CREATED, summary=summary
    )


@_posts("/calibrations", "Enter a calibration")
async def add_calibration(body: CalibrationBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Judge slope and zero of an electrode; one that is refused holds what was measured since the last."""
    points = [
        judging.BufferPoint(one.buffer, one.ph, one.mv, one.temperature_c, one.edition) for one in body.points
    ]
    return await _enter(desk, services, "calibration", body, lambda _, has: judging.calibration(points, has))


@_posts("/verifications", "Enter a verification")
async def add_verification(body: VerificationBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Judge how an electrode reads a buffer that it was not calibrated with."""
    return await _enter(
        desk,
        services,
        "verification",
        body,
        lambda _, has: judging.verification(body.found_ph, body.buffer_ph, has),
        subject=body.buffer,
    )


@_posts("/standardisations", "Enter a standardisation")
async def add_standardisation(body: StandardisationBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Judge the factor of a titrant from its replicates; typed figures are given twice."""

    def judge(tx: Transaction, has: dict[str, float]) -> Judged:
        if not body.readings and body.again_mol_per_l != body.strengths_mol_per_l:
            detail = "a typed factor is critical: give the figures once more as again_mol_per_l"
            raise MalformedError("hand.not_twice", detail, Fault("again_mol_per_l", "the same figures"))
        titrant = find_usable(tx.connection, Reagent, body.titrant).body
        if titrant.nominal_mol_per_l is None:
            detail = f"{body.titrant} has no nominal strength: give it one first"
            raise MalformedError("control.cannot_be_judged", detail, Fault("titrant", detail))
        return judging.standardisation(body.strengths_mol_per_l, titrant.nominal_mol_per_l, has)

    return await _enter(desk, services, "standardisation", body, judge, subject=body.titrant)


@_posts("/blanks", "Enter a blank")
async def add_blank(body: BlankBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Judge the blank of a method from its replicates."""
    return await _enter(
        desk,
        services,
        "blank",
        body,
        lambda _, has: judging.blank(body.volumes_ml, has),
        method=body.method,
    )


@_posts("/pump-factors", "Enter a pump factor")
async def add_pump_factor(body: PumpFactorBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Judge a pump by titrations of a standard: true over found."""
    return await _enter(
        desk, services, "pump_factor", body, lambda _, has: judging.pump(body.true_value, body.found, has)
    )


@_posts("/mass-checks", "Enter a mass check")
async def add_mass_check(body: MassCheckBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Judge how a balance shows a known mass."""
    return await _enter(
        desk, services, "mass_check", body, lambda _, has: judging.mass_check(body.found_g, body.known_g, has)
    )


@_posts("/checks", "Enter a check")
async def add_check(body: CheckBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Judge a check standard by its limit set and rules; one that fails opens a hold."""

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        about = _about(tx, "check", body, services.clock_us(), subject=body.material, method=body.method)
        method = find_usable(tx.connection, Method, body.method)
        number = enter_check(tx, by, about, method, body.given, evidence=_evidence(tx, body))
        return {"id": number}

    return await _done(desk, work, body.reason)


@reads(router, "/control-records", response_model=ControlRecordPage, summary="Judged records")
async def list_control_records(
    database: DatabaseOf,
    kind: Kind | None = None,
    instrument: Annotated[str | None, Query(max_length=200)] = None,
    after: After = 0,
    limit: Limit = 100,
) -> ControlRecordPage:
    """Return calibrations, checks and their like in the order in which they were entered."""
    return await database.read(_page, kind, instrument, after, limit)


def _page(
    connection: Connection, kind: str | None, instrument: str | None, after: int, limit: int
) -> ControlRecordPage:
    found = control_records(connection, kind=kind, instrument=instrument, after=after, limit=limit + 1)
    return ControlRecordPage(
        items=[control_record_body(connection, one) for one in found[:limit]],
        next=found[limit - 1].number if len(found) > limit else None,
    )


@reads(router, "/control-records/{number}", response_model=ControlRecordBody, summary="One judged record")
async def get_control_record(number: Identifier, database: DatabaseOf) -> ControlRecordBody:
    """Return a record with everything it was made from."""
    return await database.read(_one, number)


def _one(connection: Connection, number: int) -> ControlRecordBody:
    found = control_record_by_number(connection, number)
    if found is None:
        raise not_found(f"there is no control record {number}")
    return control_record_body(connection, found)


def control_record_body(connection: Connection, one: ControlRecord) -> ControlRecordBody:
    """Return the body of a control record."""
    return ControlRecordBody(
        number=one.number,
        kind=one.kind,
        instrument=one.instrument,
        subject=code_of(connection, one.subject_id),
        method=code_of(connection, one.method_id),
        at=rfc3339(one.at_us),
        quantity=one.quantity,
        value=one.value,
        unit=one.unit,
        uncertainty=one.uncertainty,
        verdict=one.verdict,
        reasons=from_text(one.reasons),
        details=from_text(one.details),
        hand=one.hand,
        valid_until=None if one.valid_until_us is None else rfc3339(one.valid_until_us),
        made_from=[
            {"role": part.role, "source": part.source, "id": part.source_id, "version": part.source_version}
            for part in sources_of_control_record(connection, one.number)
        ],
    )


@reads(router, "/states/{kind}", response_model=StateBody, summary="What stood at a moment")
async def get_state(
    *,
    database: DatabaseOf,
    services: ServicesOf,
    kind: Kind,
    instrument: Annotated[str | None, Query(max_length=200)] = None,
    titrant: Annotated[str | None, Query(max_length=40)] = None,
    at: Moment | None = None,
) -> StateBody:
    """Return whether a calibration, standardisation or check was valid at a moment; now if none is given."""
    moment = services.clock_us() if at is None else at
    return await database.read(_state, kind, instrument, titrant, moment)


def _state(
    connection: Connection, kind: str, instrument: str | None, titrant: str | None, at_us: int
) -> StateBody:
    subject = None if titrant is None else find_usable(connection, Reagent, titrant).record_id
    found = state_at(connection, kind, at_us, instrument=instrument, subject_id=subject)
    number = None if found.record is None else found.record.number
    return StateBody(kind=kind, at=rfc3339(at_us), state=found.state.value, record=number)

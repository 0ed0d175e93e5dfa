"""What is known of a lot: the latest of all, its limits, when it leaves its band, what a dose would do."""

from typing import Annotated, Final

from fastapi import APIRouter, Query
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.reason_bodies import reason_bodies
from api.routes.results import rounded
from api.routing import reads
from api.schemas.cellar import (
    BandBody,
    BindingBody,
    CrossingBody,
    DoseBody,
    InputBody,
    LatestBody,
    LimitBody,
    LotForecastBody,
    LotLatestBody,
    LotLimitsBody,
    VerdictBody,
)
from api.times import rfc3339
from bench.control_records import HOUR_US
from bench.kinds.cellar import Lot, Sample
from bench.kinds.laboratory import Method
from bench.lot_forecast import LotForecast, forecast_of_lot
from bench.lot_limits import LimitJudgement, SulfurDioxideLimit, limits_of, verdict_on
from bench.lot_results import Latest, latest_of_lot
from bench.records import Record, by_id, find
from bench.so2_state import Binding, after_dose, day_of, so2_state
from bench.standing import stored_causes
from storage import queries

router = APIRouter(tags=["lots"])
Code = Annotated[str, Query(max_length=40)]
CAUTION: Final = (
    "Limits differ by place, class and year. This is arithmetic on what was measured: check it against your"
    " own regulations, and ask a qualified person before anything is added."
)


@reads(router, "/lots/{code}/latest", response_model=LotLatestBody, summary="The latest of everything")
async def get_latest(code: str, database: DatabaseOf, services: ServicesOf) -> LotLatestBody:
    """Return the newest usable result of each quantity of a lot with its age, and where the lot stands."""
    return await database.read(lot_latest, code, services.clock_us())


def lot_latest(connection: Connection, code: str, now_us: int) -> LotLatestBody:
    """Return the newest usable result of each quantity of a lot. [µs]"""
    lot = find(connection, Lot, code)
    found = latest_of_lot(connection, lot.record_id, now_us)
    return LotLatestBody(
        lot=code,
        at=rfc3339(now_us),
        items=[_latest_body(connection, one) for one in found.values()],
        band=_band(lot.body, found.get("molecular_so2")),
        head=queries.head(connection),
    )


def _latest_body(connection: Connection, one: Latest) -> LatestBody:
    of, before = one.of, one.before
    method = by_id(connection, Method, of.method_id, of.method_version)
    sample = None if of.sample_id is None else by_id(connection, Sample, of.sample_id)
    value = of.value or 0.0
    return LatestBody(
        quantity=of.quantity,
        result=of.result_id,
        value=value,
        rounded=rounded(of, method.body),
        unit=of.unit,
        basis=of.basis,
        end_point=of.end_point,
        uncertainty=of.uncertainty,
        at=rfc3339(of.at_us),
        age_h=one.age_us / HOUR_US,
        sample=None if sample is None else sample.code,
        standing=of.standing,
        reasons=reason_bodies(stored_causes(of.reasons)),
        released=of.mark == "released",
        change=None if before is None or before.value is None else value - before.value,
        passed_over=list(one.passed_over),
    )


def _band(lot: Lot, latest: Latest | None) -> BandBody | None:
    low, high = lot.molecular_low_mg_l, lot.molecular_high_mg_l
    if low is None and high is None:
        return None
    found = None if latest is None else latest.of.value
    return BandBody(low_mg_l=low, high_mg_l=high, found_mg_l=found, verdict=_verdict(found, low, high))


def _verdict(found: float | None, low: float | None, high: float | None) -> str:
    if found is None:
        return "unknown"
    if low is not None and found < low:
        return "below"
    return "above" if high is not None and found > high else "inside"


@reads(router, "/lots/{code}/limits", response_model=LotLimitsBody, summary="The limits that apply")
async def get_limits(code: str, database: DatabaseOf, services: ServicesOf) -> LotLimitsBody:
    """Return the limits of a lot by market, class, colour and sugar, and the latest result against each."""
    return await database.read(lot_limits, code, services.clock_us())


def lot_limits(connection: Connection, code: str, now_us: int) -> LotLimitsBody:
    """Return the limits of a lot with the latest result against each. [µs]"""
    lot = find(connection, Lot, code)
    latest = latest_of_lot(connection, lot.record_id, now_us)
    found = limits_of(lot.body, day_of(now_us))
    return LotLimitsBody(
        lot=code,
        apply=[limit_body(row, latest) for row in found.apply],
        may_apply=[limit_body(row, latest) for row in found.may_apply],
        asks=list(found.asks),
        caution=CAUTION,
    )


def limit_body(row: SulfurDioxideLimit, latest: dict[str, Latest] | None = None) -> LimitBody:
    """Return the body of a limit, with the verdict on the latest result of its kind if there is one."""
    found = (latest or {}).get(f"{row.kind.value}_so2")
    judged = None if found is None else verdict_on(row, found.of.value or 0.0, found.of.uncertainty or 0.0)
    return LimitBody(
        jurisdiction=row.jurisdiction,
        wine_class=row.wine_class,
        kind=row.kind.value,
        limit_mg_l=row.limit_mg_per_l,
        sugar_test=row.sugar_test,
        source=row.source,
        status=row.status,
        verdict=None if judged is None else verdict_body(judged),
    )


def verdict_body(one: LimitJudgement) -> VerdictBody:
    """Return the body of a verdict."""
    return VerdictBody(
        verdict=one.verdict.value,
        value_mg_l=one.value_mg_per_l,
        low_mg_l=one.low_mg_per_l,
        high_mg_l=one.high_mg_per_l,
        limit_mg_l=one.limit_mg_per_l,
        statement=one.statement,
    )


@reads(router, "/lots/{code}/forecast", response_model=LotForecastBody, summary="When it leaves its band")
async def get_forecast(
    *,
    code: str,
    database: DatabaseOf,
    services: ServicesOf,
    quantity: Code = "molecular_so2",
    level: Annotated[
        float | None, Query(description="Instead of the band of the lot. [unit of the quantity]")
    ] = None,
    probability: Annotated[float, Query(ge=0.5, le=0.9999)] = 0.95,
) -> LotForecastBody:
    """Return the line through what was measured since the last addition, and when it reaches each level."""
    levels = () if level is None else (level,)
    now_us = services.clock_us()

    def work(connection: Connection) -> LotForecast:
        lot = find(connection, Lot, code)
        return forecast_of_lot(connection, lot, quantity, levels, probability=probability, now_us=now_us)

    return _forecast_body(code, quantity, probability, await database.read(work))


def _forecast_body(code: str, quantity: str, probability: float, found: LotForecast) -> LotForecastBody:
    rate = found.rate
    return LotForecastBody(
        lot=code,
        quantity=quantity,
        since=rfc3339(found.since_us) if found.since_us else None,
        points=[one.result_id for one in found.points],
        loss_per_day=None if rate is None else rate.per_day,
        loss_low=None if rate is None else rate.low,
        loss_high=None if rate is None else rate.high,
        probability=probability,
        crossings=[
            CrossingBody(
                level=one.level,
                at=_moment(one.at_us),
                earliest=_moment(one.earliest_us),
                latest=_moment(one.latest_us),
                why=one.why,
            )
            for one in found.crossings
        ],
        why=found.why,
    )


def _moment(at_us: int | None) -> str | None:
    return None if at_us is None else rfc3339(at_us)


@reads(router, "/lots/{code}/dose", response_model=DoseBody, summary="What a dose would do")
async def get_dose(
    *,
    code: str,
    database: DatabaseOf,
    services: ServicesOf,
    mg_l: Annotated[float, Query(ge=0, le=500, description="Sulfur dioxide to add. [mg/L]")],
    constants: Annotated[str | None, Query(max_length=40, description="A set of constants by name.")] = None,
) -> DoseBody:
    """Return free, molecular and total SO2 to expect of a dose, and the total against its limit."""
    return await database.read(lot_dose, code, mg_l, constants, services.clock_us())


def lot_dose(connection: Connection, code: str, mg_l: float, constants: str | None, now_us: int) -> DoseBody:
    """Return what a dose would do to a lot; raise `RefusedError` if that cannot be told. [mg/L, µs]"""
    lot: Record[Lot] = find(connection, Lot, code)
    state = so2_state(connection, lot, now_us, constants)
    after = after_dose(state, mg_l)
    return DoseBody(
        lot=code,
        dose_mg_l=mg_l,
        inputs=[input_body(one) for one in (state.free, state.total, state.ph) if one is not None],
        binding=binding_body(state.binding),
        free_mg_l=after.free,
        free_low_mg_l=after.free_low,
        free_high_mg_l=after.free_high,
        total_mg_l=after.total,
        legal=None if after.legal is None else verdict_body(after.legal),
        limit=None if state.limit is None else limit_body(state.limit),
        asks=list(state.asks),
        constants=None if state.constants is None else state.constants.name,
        molecular_now_mg_l=after.molecular_now,
        molecular_mg_l=after.molecular,
        molecular_low_mg_l=after.molecular_low,
        molecular_high_mg_l=after.molecular_high,
        flags=reason_bodies(state.flags),
        caution=CAUTION,
    )


def input_body(one: Latest) -> InputBody:
    """Return the body of a number that an answer stands on."""
    return InputBody(
        quantity=one.of.quantity,
        result=one.of.result_id,
        value=one.of.value or 0.0,
        age_h=one.age_us / HOUR_US,
        standing=one.of.standing,
    )


def binding_body(one: Binding) -> BindingBody:
    """Return the body of a share that binds."""
    return BindingBody(share=one.share, spread=one.spread, additions=one.additions, source=one.source)

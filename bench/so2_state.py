"""The sulfur dioxide of a lot as it was last measured, and what a dose would do to it."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple

from sqlalchemy import Connection

from bench.additions_found import binding_of
from bench.control_records import HOUR_US
from bench.kinds.cellar import Lot
from bench.kinds.laboratory import Method
from bench.lot_limits import LimitJudgement, SulfurDioxideLimit, limits_of, total_limit, verdict_on
from bench.lot_results import Latest, latest_of_lot
from bench.parts import INHERITED
from bench.reasons import Cause
from bench.records import Record, read
from bench.refused import Fault, MalformedError, RefusedError
from evaluate.binding import Binding, predicted_free
from evaluate.errors import EvaluateError
from evaluate.molecular import molecular_fraction, sulfurous_pk
from evaluate.so2_constants import REFERENCE_TEMPERATURE_C, constant_set
from storage.queries.records import records_of_kind

__all__ = ["AfterDose", "Binding", "Constants", "So2State", "after_dose", "day_of", "so2_state"]
USUAL_AGE_H = (
    168.0  # [h] of an input where no method for molecular SO2 says another; common practice, no source
)


class Constants(NamedTuple):
    """The constant of sulfurous acid for a wine, with the name of its set."""

    name: str
    pk: float
    at_c: float | None
    """Temperature that the answer is for; None in a set that knows none. [°C]"""


class So2State(NamedTuple):
    """What was last measured in a lot, and what is needed to look ahead."""

    free: Latest
    total: Latest
    ph: Latest | None
    constants: Constants | None
    binding: Binding
    limit: SulfurDioxideLimit | None
    asks: tuple[str, ...]
    """What to enter so that limit and molecular SO2 can be told; empty if nothing is wanting."""
    flags: tuple[Cause, ...]
    """What makes one of the inputs doubtful."""

    def fraction(self) -> float | None:
        """Return the molecular share of the free; None without pH or constants. [1]"""
        if self.ph is None or self.ph.of.value is None or self.constants is None:
            return None
        return float(molecular_fraction(self.ph.of.value, self.constants.pk))


class AfterDose(NamedTuple):
    """What to expect of a dose once it has settled. [mg/L]"""

    dose: float
    free: float
    free_low: float
    free_high: float
    total: float
    legal: LimitJudgement | None
    molecular_now: float | None
    molecular: float | None
    molecular_low: float | None
    molecular_high: float | None


def so2_state(
    connection: Connection, lot: Record[Lot], now_us: int, constants: str | None = None
) -> So2State:
    """Return what is known of the sulfur dioxide of a lot; raise `RefusedError` if free or total is not."""
    latest = latest_of_lot(connection, lot.record_id, now_us)
    for quantity in ("free_so2", "total_so2"):
        if quantity not in latest:
            detail = f"{lot.code} has no {quantity} that may be used: measure it"
            raise RefusedError("lot.not_measured", detail, Fault("lot", detail))
    method = _molecular_method(connection)
    asks: tuple[str, ...] = ()
    limit = None
    today = day_of(now_us)
    try:
        limit = total_limit(lot.body, lot.code, today)
    except RefusedError:
        asks = limits_of(lot.body, today).asks or ("a class with a figure for total SO2",)
    named = _constants(lot.body, method, constants)
    if named is None:
        asks = (*asks, "a set of constants: name one, or keep one method for molecular SO2 whose set fits")
    inputs = [latest[name] for name in ("free_so2", "total_so2", "ph") if name in latest]
    most_h = USUAL_AGE_H if method is None else method.input_age_h
    return So2State(
        latest["free_so2"],
        latest["total_so2"],
        latest.get("ph"),
        named,
        binding_of(connection, lot.record_id),
        limit,
        asks,
        tuple(cause for one in inputs for cause in _flags(one, most_h)),
    )


def day_of(at_us: int) -> date:
    """Return the day of a moment, in UTC. [µs]"""
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us)).date()


def _molecular_method(connection: Connection) -> Method | None:
    """Return the laboratory's method for molecular SO2, if there is exactly one."""
    found = [read(one, Method).body for one in records_of_kind(connection, "method", retired=False)]
    fitting = [one for one in found if one.formula == "molecular_so2"]
    return fitting[0] if len(fitting) == 1 else None


def _constants(lot: Lot, method: Method | None, named: str | None) -> Constants | None:
    name = named or (method.constant_set if method is not None else None)
    if name is None:
        return None
    celsius = REFERENCE_TEMPERATURE_C if method is None else method.constants_at_c
    try:
        chosen = constant_set(name)
        pk = float(sulfurous_pk(name, lot.alcohol_percent_vol, celsius))
    except EvaluateError as error:
        if named is None:
            return None
        raise MalformedError("lot.no_constants", str(error), Fault("constants", str(error))) from error
    return Constants(name, pk, None if chosen.pk is not None else celsius)


def _flags(one: Latest, most_h: float) -> Iterator[Cause]:
    of = one.of
    if (code := INHERITED.get(of.standing or "")) is not None:
        yield Cause(code, f"result {of.result_id} ({of.quantity}) is {of.standing}")
    age_h = one.age_us / HOUR_US
    if age_h > most_h:
        yield Cause(
            "input.old",
            f"result {of.result_id} ({of.quantity}) is {age_h / 24:.1f} d old,"
            f" {most_h / 24:.1f} d is allowed",
        )


def after_dose(state: So2State, dose_mg_l: float, *, coverage: float = 2.0) -> AfterDose:
    """Return what a dose would do; raise `RefusedError` if that cannot be told. [mg/L]"""
    free_now, total_now = state.free.of.value or 0.0, state.total.of.value or 0.0
    try:
        free, low, high = predicted_free(free_now, dose_mg_l, state.binding, coverage=coverage)
        total = total_now + dose_mg_l
        doubt = state.total.of.uncertainty or 0.0
        legal = None if state.limit is None else verdict_on(state.limit, total, doubt, coverage=coverage)
        share = state.fraction()
    except EvaluateError as error:
        raise RefusedError("lot.cannot_be_predicted", str(error), Fault("dose", str(error))) from error

    def molecular(free_mg_l: float) -> float | None:
        return None if share is None else free_mg_l * share

    return AfterDose(
        dose_mg_l,
        free,
        low,
        high,
        total,
        legal,
        molecular(free_now),
        molecular(free),
        molecular(low),
        molecular(high),
    )

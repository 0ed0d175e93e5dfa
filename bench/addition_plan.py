"""What an addition of sulfur dioxide is planned from, and the plan as it is kept: every input and figure."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection

from bench.evaluation import reagent_causes
from bench.kinds.cellar import Lot, Vessel
from bench.kinds.laboratory import Reagent
from bench.lot_limits import colour_of, total_limit
from bench.lot_results import Latest
from bench.reasons import Cause
from bench.records import Record, find_usable
from bench.refused import Fault, MalformedError, RefusedError
from bench.so2_state import So2State, day_of, so2_state
from bench.volumes import volume_of_lot
from evaluate.additions import AdditionPlan, LotState, plan_for_dose, plan_for_target
from evaluate.errors import EvaluateError
from evaluate.so2_pairs import free_so2_range
from evaluate.sulfite_salts import SulfiteSalt

COVERAGE: Final = 2.0  # [1] standard uncertainties of the guard band; JCGM 106:2012, common choice


@dataclass(frozen=True, slots=True)
class Asked:
    """What somebody wants to add."""

    lot: str
    substance: str
    target_free_mg_l: float | None = None
    """Free SO2 wanted; or else the dose. [mg/L]"""
    dose_mg_l: float | None = None
    vessel: str | None = None
    volume_l: float | None = None
    """Wine in the vessel as it is, less the ullage; what is expected of the lot if not given. [L]"""
    volume_u_share: float = 0.0
    """Relative standard uncertainty of the volume. [1]"""
    step_g: float = 0.1
    """Smallest step of the balance. [g]"""
    water_ml: float = 0.0
    """Water that the salt is dissolved in. [mL]"""
    limit_mg_l: float | None = None
    """Limit of total SO2 that a person answers for, in place of the table's. [mg/L]"""
    constants: str | None = None


class Planned(NamedTuple):
    """A plan with the records that it names."""

    lot: Record[Lot]
    vessel: Record[Vessel] | None
    substance: Record[Reagent]
    figures: AdditionPlan
    content: Mapping[str, Any]
    """As it is kept."""


def plan_of(connection: Connection, asked: Asked, now_us: int) -> Planned:
    """Return the plan for what was asked; nothing is written. [µs]

    Raises
    ------
    RefusedError
        If something is not known or measured, or the total would exceed its limit; it names what to do.
    """
    lot = find_usable(connection, Lot, asked.lot)
    vessel = None if asked.vessel is None else find_usable(connection, Vessel, asked.vessel)
    substance = find_usable(connection, Reagent, asked.substance)
    salt = _salt(substance)
    volume_l, volume_by = _volume(connection, asked, lot, now_us)
    state = so2_state(connection, lot, now_us, asked.constants)
    limit = asked.limit_mg_l
    if limit is None:
        limit = total_limit(lot.body, lot.code, day_of(now_us)).limit_mg_per_l or 0.0
    figures = _figures(asked, state, salt, volume_l, limit)
    flags = (*state.flags, *reagent_causes(substance, now_us))
    content = _content(asked, lot.body, state, figures, flags=flags, volume=(volume_l, volume_by))
    return Planned(lot, vessel, substance, figures, content)


def _salt(substance: Record[Reagent]) -> SulfiteSalt:
    if substance.body.reagent_kind != "substance" or substance.body.strength is None:
        detail = f"{substance.code} is no substance with a strength: give its share of SO2, such as 0.576"
        raise RefusedError("addition.no_strength", detail, Fault("substance", detail))
    return SulfiteSalt(substance.body.name, substance.body.strength, f"record {substance.code}")


def _volume(connection: Connection, asked: Asked, lot: Record[Lot], now_us: int) -> tuple[float, str]:
    """Return the volume that is dosed, and where it comes from in words. [L]"""
    if asked.volume_l is None:
        found = volume_of_lot(connection, lot.record_id)
        volume_l, by = found.expected_l, found.in_words(now_us)
    else:
        volume_l, by = asked.volume_l, "given by the person who planned it"
    if volume_l is None or not 0 < volume_l < float("inf"):
        told = "never entered" if volume_l is None else f"{volume_l:g} L ({by})"
        detail = f"the volume of the wine in {lot.code} must be more than 0 L, and is {told}: give volume_l"
        raise MalformedError("addition.volume", detail, Fault("volume_l", detail))
    return volume_l, by


def _figures(
    asked: Asked, state: So2State, salt: SulfiteSalt, volume_l: float, limit_mg_l: float
) -> AdditionPlan:
    if (asked.target_free_mg_l is None) == (asked.dose_mg_l is None):
        detail = "say what is wanted: the free SO2 as target_free_mg_l, or the dose as dose_mg_l"
        raise MalformedError("addition.what_for", detail, Fault("dose_mg_l", detail))
    total = state.total.of
    of_lot = LotState(
        volume_l,
        state.free.of.value or 0.0,
        total.value or 0.0,
        total.uncertainty or 0.0,
        asked.volume_u_share,
    )
    most: dict[str, float] = {
        "total_limit_mg_per_l": limit_mg_l,
        "step_g": asked.step_g,
        "coverage": COVERAGE,
    }
    try:
        if asked.dose_mg_l is not None:
            found = plan_for_dose(of_lot, asked.dose_mg_l, state.binding, salt, **most)
        else:
            target = asked.target_free_mg_l or 0.0
            found = plan_for_target(of_lot, target, state.binding, salt, **most)
    except EvaluateError as error:
        raise RefusedError("addition.cannot_be_planned", str(error), Fault("", str(error))) from error
    if found.salt_g == 0:
        detail = "there is nothing to add: the free SO2 is there already, or the dose is below a step"
        raise RefusedError("addition.cannot_be_planned", detail, Fault("dose_mg_l", detail))
    if found.total_mg_per_l > limit_mg_l:
        detail = f"the total would pass its limit: {found.legal.statement}"
        raise RefusedError("addition.over_limit", detail, Fault("dose_mg_l", detail))
    return found


def _content(
    asked: Asked,
    lot: Lot,
    state: So2State,
    figures: AdditionPlan,
    *,
    flags: tuple[Cause, ...],
    volume: tuple[float, str],
) -> dict[str, Any]:
    return {
        "asked": {"target_free_mg_l": asked.target_free_mg_l, "dose_mg_l": asked.dose_mg_l},
        "volume_l": volume[0],
        "volume_by": volume[1],
        "volume_u_share": asked.volume_u_share,
        "step_g": asked.step_g,
        "water_ml": asked.water_ml,
        "free": _input(state.free),
        "total": _input(state.total),
        "ph": None if state.ph is None else _input(state.ph),
        "binding": {
            "share": figures.binding.share,
            "spread": figures.binding.spread,
            "additions": figures.binding.additions,
            "source": figures.binding.source,
        },
        "so2_share": figures.salt.so2_share,
        "salt_g": figures.salt_g,
        "added_mg_l": figures.added_mg_per_l,
        "free_mg_l": figures.free_mg_per_l,
        "free_low_mg_l": figures.free_low_mg_per_l,
        "free_high_mg_l": figures.free_high_mg_per_l,
        "total_mg_l": figures.total_mg_per_l,
        "molecular": _molecular(state, figures),
        "legal": {
            "verdict": figures.legal.verdict.value,
            "statement": figures.legal.statement,
            "limit_mg_l": figures.legal.limit_mg_per_l,
            "by": _whose(asked, state),
        },
        "remark": free_so2_range(state.free.of.value or 0.0, red=colour_of(lot) == "red").statement,
        "flags": [{"code": flag.code, "evidence": flag.evidence} for flag in flags],
    }


def _input(one: Latest) -> dict[str, Any]:
    return {
        "result": one.of.result_id,
        "version": one.of.version,
        "value": one.of.value,
        "uncertainty": one.of.uncertainty,
        "at_us": one.of.at_us,
        "standing": one.of.standing,
    }


def _molecular(state: So2State, figures: AdditionPlan) -> dict[str, Any] | None:
    share = state.fraction()
    if share is None or state.constants is None:
        return None
    return {
        "constants": state.constants.name,
        "pk": state.constants.pk,
        "now_mg_l": (state.free.of.value or 0.0) * share,
        "mg_l": figures.free_mg_per_l * share,
        "low_mg_l": figures.free_low_mg_per_l * share,
        "high_mg_l": figures.free_high_mg_per_l * share,
    }


def _whose(asked: Asked, state: So2State) -> str:
    if asked.limit_mg_l is not None:
        return "given by the person who planned it"
    if state.limit is None:
        return ""
    return (
        f"{state.limit.jurisdiction}, {state.limit.wine_class}: {state.limit.source} ({state.limit.status})"
    )

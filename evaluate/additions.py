"""A sulfur dioxide addition thought through to its end: dose, mass, expected values, legal total."""

import math
from typing import NamedTuple

from evaluate.binding import Binding, addition_for_free, predicted_free
from evaluate.checks import finite, in_range, not_negative
from evaluate.errors import ContradictionError
from evaluate.limits import LimitJudgement, LimitVerdict, judge_against_limit
from evaluate.sulfite_salts import Rounding, SulfiteSalt, rise_mg_per_l, round_to_step, salt_mass_g


class LotState(NamedTuple):
    """What was measured in a lot before the addition."""

    volume_l: float
    free_mg_per_l: float
    total_mg_per_l: float
    u_total_mg_per_l: float
    """Standard uncertainty of the total. [mg/L]"""
    u_volume_share: float = 0.0
    """Relative standard uncertainty of the volume."""


class AdditionPlan(NamedTuple):
    """What to weigh, and what to expect of it. Nothing is dosed by a machine; a person weighs and decides."""

    asked_mg_per_l: float
    """The addition that was asked for or that the target needs. [mg/L]"""
    salt_g: float
    """Mass to weigh, a whole number of steps of the balance. [g]"""
    added_mg_per_l: float
    """What that mass really adds. [mg/L]"""
    free_mg_per_l: float
    """Expected free SO2 once it has settled. [mg/L]"""
    free_low_mg_per_l: float
    free_high_mg_per_l: float
    total_mg_per_l: float
    """Total SO2 after the addition: all of it counts, bound or not. [mg/L]"""
    legal: LimitJudgement
    binding: Binding
    salt: SulfiteSalt

    @property
    def may_be_released(self) -> bool:
        """Whether the legal total does not speak against it."""
        return self.legal.verdict is LimitVerdict.INSIDE


def plan_for_target(
    lot: LotState,
    free_target_mg_per_l: float,
    binding: Binding,
    salt: SulfiteSalt,
    *,
    total_limit_mg_per_l: float,
    step_g: float,
    coverage: float = 2.0,
) -> AdditionPlan:
    """Return the addition that brings the free sulfur dioxide to a target.

    Parameters
    ----------
    lot : LotState
        Volume and what was measured.
    free_target_mg_per_l : float
        Free SO2 wanted. [mg/L]
    binding : Binding
        Share that binds.
    salt : SulfiteSalt
        With the strength of the lot of salt in use.
    total_limit_mg_per_l : float
        Legal total for this wine. [mg/L]
    step_g : float
        Smallest step of the balance. [g]
    coverage : float
        Width of the guard band in standard uncertainties.

    Returns
    -------
    AdditionPlan
        Dose, mass, expectations and the verdict on the legal total.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    NotPredictableError
        If there is no free sulfur dioxide now: add, wait and measure first.
    ContradictionError
        If free exceeds total.

    Notes
    -----
    `addition_for_free`, then as `plan_for_dose`.

    References
    ----------
    .. [1] Those of `addition_for_free`, `salt_mass_g` and `judge_against_limit`.
    """
    dose = addition_for_free(lot.free_mg_per_l, free_target_mg_per_l, binding.share)
    return plan_for_dose(
        lot,
        dose,
        binding,
        salt,
        total_limit_mg_per_l=total_limit_mg_per_l,
        step_g=step_g,
        coverage=coverage,
    )


def plan_for_dose(
    lot: LotState,
    dose_mg_per_l: float,
    binding: Binding,
    salt: SulfiteSalt,
    *,
    total_limit_mg_per_l: float,
    step_g: float,
    coverage: float = 2.0,
) -> AdditionPlan:
    """Return the mass for a dose, and what to expect of it.

    Parameters
    ----------
    lot : LotState
        Volume and what was measured.
    dose_mg_per_l : float
        Sulfur dioxide to add, 0 to 500. [mg/L]
    binding : Binding
        Share that binds.
    salt : SulfiteSalt
        With the strength of the lot of salt in use.
    total_limit_mg_per_l : float
        Legal total for this wine. [mg/L]
    step_g : float
        Smallest step of the balance. [g]
    coverage : float
        Width of the guard band in standard uncertainties.

    Returns
    -------
    AdditionPlan
        Mass, expectations and the verdict on the legal total.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    NotPredictableError
        If there is no free sulfur dioxide now: add, wait and measure first.
    ContradictionError
        If free exceeds total.

    Notes
    -----
    The mass goes to the nearest step of the balance, or down where the nearest would lift the total above the
    limit. What is expected follows from the mass that is weighed, not from the dose that was asked. The total
    rises by the whole addition; its uncertainty is that of the total and that of the volume together.

    References
    ----------
    .. [1] Those of `salt_mass_g`, `predicted_free` and `judge_against_limit`.
    """
    _free_within_total(lot)
    exact_g = salt_mass_g(dose_mg_per_l, lot.volume_l, salt.so2_share)
    salt_g = _weighable(lot, exact_g, salt, step_g, total_limit_mg_per_l)
    added = rise_mg_per_l(salt_g, lot.volume_l, salt.so2_share)
    free, low, high = predicted_free(lot.free_mg_per_l, added, binding, coverage=coverage)
    total = lot.total_mg_per_l + added
    return AdditionPlan(
        asked_mg_per_l=dose_mg_per_l,
        salt_g=salt_g,
        added_mg_per_l=added,
        free_mg_per_l=free,
        free_low_mg_per_l=low,
        free_high_mg_per_l=high,
        total_mg_per_l=total,
        legal=judge_against_limit(
            total, _u_forecast_total(lot, added), total_limit_mg_per_l, coverage=coverage
        ),
        binding=binding,
        salt=salt,
    )


def _weighable(
    lot: LotState, exact_g: float, salt: SulfiteSalt, step_g: float, limit_mg_per_l: float
) -> float:
    nearest_g = round_to_step(exact_g, step_g)
    over = lot.total_mg_per_l + rise_mg_per_l(nearest_g, lot.volume_l, salt.so2_share) > limit_mg_per_l
    return round_to_step(exact_g, step_g, Rounding.DOWN) if over else nearest_g


def _u_forecast_total(lot: LotState, added_mg_per_l: float) -> float:
    u_total = not_negative("uncertainty of the total", lot.u_total_mg_per_l, "mg/L")
    u_volume = in_range("relative uncertainty of the volume", lot.u_volume_share, 0.0, 1.0)
    return math.hypot(u_total, u_volume * added_mg_per_l)


def _free_within_total(lot: LotState) -> None:
    total = not_negative("total SO2", lot.total_mg_per_l, "mg/L")
    if finite("free SO2", lot.free_mg_per_l) > total:
        raise ContradictionError(
            f"free SO2 of {lot.free_mg_per_l:g} mg/L cannot exceed total SO2 "
            f"of {total:g} mg/L: measure both again",
            name="free SO2",
            value=lot.free_mg_per_l,
            high=total,
        )

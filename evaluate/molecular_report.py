"""Molecular sulfur dioxide as it is stored and shown: with its constants, conditions and uncertainty."""

import math
from typing import NamedTuple

from evaluate.checks import finite, not_negative
from evaluate.constants import LN_10
from evaluate.molecular import molecular_fraction, molecular_so2, sulfurous_pk
from evaluate.so2_constants import REFERENCE_TEMPERATURE_C, ConstantSet, constant_set
from evaluate.so2_pairs import free_so2_range


class WineInputs(NamedTuple):
    """What molecular sulfur dioxide is computed from, each with its standard uncertainty."""

    free_mg_per_l: float
    ph: float
    alcohol_pct_vol: float | None = None
    u_free_mg_per_l: float = 0.0
    u_ph: float = 0.0
    u_alcohol_pct_vol: float = 0.0
    u_temperature_c: float = 0.0
    """Zero where the answer is for a reference temperature, which is exact by agreement."""
    red: bool = False


class MolecularReport(NamedTuple):
    """Molecular sulfur dioxide with everything that must stand beside it."""

    molecular_mg_per_l: float
    u_mg_per_l: float
    """Standard uncertainty from the inputs; that of the constants themselves is not known."""
    shares: dict[str, float]
    """Part of the variance by input; the parts add to one, or all are zero."""
    pk: float
    constants: str
    temperature_c: float | None
    """Temperature the answer is for; None where the set does not know temperature."""
    remarks: tuple[str, ...]
    """What a reader must know, in plain words."""


def molecular_report(
    wine: WineInputs,
    constants: str,
    *,
    temperature_c: float = REFERENCE_TEMPERATURE_C,
    wine_temperature_c: float | None = None,
) -> MolecularReport:
    """Return molecular sulfur dioxide with its uncertainty, its constants and what must be said of it.

    Parameters
    ----------
    wine : WineInputs
        Free SO2, pH and, where the set needs it, alcohol, with their standard uncertainties.
    constants : str
        Name of the set, see `evaluate.so2_constants`.
    temperature_c : float
        Temperature the answer is for, 20 to 40 in a set with a table. [°C]
    wine_temperature_c : float, optional
        Temperature of the cellar, for the remark alone. [°C]

    Returns
    -------
    MolecularReport
        In mg/L, with the shares of pH, free SO2, alcohol and temperature in the variance.

    Raises
    ------
    UnknownNameError
        If there is no such set.
    OutOfRangeError
        If an input is not finite or outside its range, or an uncertainty is negative.

    Notes
    -----
    First order and independent inputs: relative to the value, u(free) / free, ln 10 (1 - share) u(pH), and
    ln 10 (1 - share) times the change of pK over one u of alcohol or temperature, the larger side where the
    table has a kink. At pH 3.4 a pH wrong by 0.05 moves the value by about 11 %.

    References
    ----------
    .. [1] JCGM 100:2008, equation 10. Published.
    """
    chosen = constant_set(constants)
    value = float(
        molecular_so2(
            wine.free_mg_per_l,
            wine.ph,
            constants,
            alcohol_pct_vol=wine.alcohol_pct_vol,
            temperature_c=temperature_c,
        )
    )
    parts = _parts(wine, chosen, temperature_c)
    variance = sum(part**2 for part in parts.values())
    return MolecularReport(
        molecular_mg_per_l=value,
        u_mg_per_l=math.sqrt(variance),
        shares={name: part**2 / variance if variance else 0.0 for name, part in parts.items()},
        pk=float(sulfurous_pk(constants, wine.alcohol_pct_vol, temperature_c)),
        constants=constants,
        temperature_c=None if chosen.pk is not None else temperature_c,
        remarks=_remarks(wine, chosen, temperature_c, wine_temperature_c),
    )


def _parts(wine: WineInputs, chosen: ConstantSet, temperature_c: float) -> dict[str, float]:
    """Return the contribution of each input to the standard uncertainty. [mg/L]"""
    pk = float(sulfurous_pk(chosen.name, wine.alcohol_pct_vol, temperature_c))
    share = float(molecular_fraction(wine.ph, pk))
    per_pk = wine.free_mg_per_l * share * LN_10 * (1 - share)
    return {
        "free SO2": share * not_negative("uncertainty of free SO2", wine.u_free_mg_per_l, "mg/L"),
        "pH": per_pk * not_negative("uncertainty of pH", wine.u_ph),
        "alcohol": per_pk * _pk_change_by_alcohol(wine, chosen, temperature_c),
        "temperature": per_pk * _pk_change_by_temperature(wine, chosen, temperature_c),
    }


def _pk_change_by_alcohol(wine: WineInputs, chosen: ConstantSet, temperature_c: float) -> float:
    u = not_negative("uncertainty of alcohol", wine.u_alcohol_pct_vol, "% vol")
    if chosen.pk is not None or wine.alcohol_pct_vol is None:
        return 0.0
    around = _either_side(wine.alcohol_pct_vol, u, chosen.alcohol_pct_vol)
    pks = [float(sulfurous_pk(chosen.name, alcohol, temperature_c)) for alcohol in around]
    return max(abs(pks[1] - pks[0]), abs(pks[2] - pks[1]))


def _pk_change_by_temperature(wine: WineInputs, chosen: ConstantSet, temperature_c: float) -> float:
    u = not_negative("uncertainty of temperature", wine.u_temperature_c, "°C")
    if chosen.pk is not None:
        return 0.0
    around = _either_side(temperature_c, u, chosen.temperature_c)
    pks = [float(sulfurous_pk(chosen.name, wine.alcohol_pct_vol, celsius)) for celsius in around]
    return max(abs(pks[1] - pks[0]), abs(pks[2] - pks[1]))


def _either_side(value: float, u: float, marks: tuple[float, ...]) -> tuple[float, float, float]:
    return max(marks[0], value - u), value, min(marks[-1], value + u)


def _remarks(
    wine: WineInputs, chosen: ConstantSet, temperature_c: float, wine_temperature_c: float | None
) -> tuple[str, ...]:
    found = [
        _temperature_remark(chosen, temperature_c, wine_temperature_c),
        _recall_remark(chosen, wine.alcohol_pct_vol),
        free_so2_range(wine.free_mg_per_l, red=wine.red).statement,
    ]
    return tuple(remark for remark in found if remark)


def _temperature_remark(chosen: ConstantSet, temperature_c: float, wine_temperature_c: float | None) -> str:
    if chosen.pk is not None:
        return ""
    said = f"given at {temperature_c:g} °C"
    if wine_temperature_c is None or finite("wine temperature", wine_temperature_c) == temperature_c:
        return said
    return f"{said}, not at the {wine_temperature_c:g} °C of the wine"


def _recall_remark(chosen: ConstantSet, alcohol_pct_vol: float | None) -> str:
    limit = chosen.recalled_above_pct_vol
    if limit is None or alcohol_pct_vol is None or alcohol_pct_vol <= limit:
        return ""
    return f"above {limit:g} % vol the constants rest on a row that was not checked against the standard"

"""The formulas of results, as functions of every input by name; each leads to the formula of its own module.

The strength of a titrant comes as its nominal value and its factor, because a factor is what changes later.
What each one gives, and in which unit, stands in `evaluate.formula_table`.
"""

# ruff: noqa: D103

from typing import Final

from evaluate.acidity import AcidEndPoint, titratable_acidity
from evaluate.checks import finite, in_range, positive
from evaluate.molecular import HIGHEST_FREE_MG_PER_L, molecular_fraction
from evaluate.nitrogen import formol_nitrogen
from evaluate.so2_pairs import combined_so2
from evaluate.sulfur_dioxide import free_so2_by_iodine, so2_by_aeration, so2_by_iodine, so2_one_flask
from evaluate.titrant import strength_from_standard
from evaluate.titre import net_titre_ml
from evaluate.volatile_acidity import volatile_acidity

MOST_DILUTION: Final = 1000.0  # [1] final volume over volume taken; our choice


def as_read(*, value: float) -> float:
    return finite("value", value)


def as_read_corrected(
    *,
    value: float,
    titrant_factor: float,
    titrant_factor_in_instrument: float,
    sample_ml: float,
    sample_in_instrument_ml: float,
    dilution: float,
) -> float:
    by_factor = positive("titrant factor", titrant_factor) / positive(
        "titrant factor in the instrument", titrant_factor_in_instrument
    )
    by_sample = positive("sample in the instrument", sample_in_instrument_ml, "mL") / positive(
        "sample", sample_ml, "mL"
    )
    return _diluted(finite("value", value) * by_factor * by_sample, dilution)


def so2_iodine(
    *,
    titre_ml: float,
    blank_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    dilution: float,
) -> float:
    strength = _strength(titrant_mol_per_l, titrant_factor)
    return _diluted(so2_by_iodine(titre_ml, strength, sample_ml, blank_ml=blank_ml), dilution)


def so2_iodine_less_aldehyde(
    *,
    titre_ml: float,
    aldehyde_titre_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    dilution: float,
) -> float:
    strength = _strength(titrant_mol_per_l, titrant_factor)
    found = free_so2_by_iodine(titre_ml, strength, sample_ml, aldehyde_titre_ml=aldehyde_titre_ml)
    return _diluted(found, dilution)


def total_so2_one_flask(
    *,
    titre_ml: float,
    blank_ml: float,
    second_titre_ml: float,
    third_titre_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    dilution: float,
) -> float:
    strength = _strength(titrant_mol_per_l, titrant_factor)
    later = (second_titre_ml, third_titre_ml)
    found = so2_one_flask(titre_ml, later, strength, sample_ml, blank_ml=blank_ml)
    return _diluted(found.total_mg_per_l, dilution)


def combined_so2_one_flask(
    *,
    second_titre_ml: float,
    third_titre_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    dilution: float,
) -> float:
    strength = _strength(titrant_mol_per_l, titrant_factor)
    found = so2_one_flask(0.0, (second_titre_ml, third_titre_ml), strength, sample_ml)
    return _diluted(found.combined_mg_per_l, dilution)


def so2_aeration(
    *,
    titre_ml: float,
    blank_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    dilution: float,
) -> float:
    strength = _strength(titrant_mol_per_l, titrant_factor)
    return _diluted(so2_by_aeration(titre_ml, strength, sample_ml, blank_ml=blank_ml), dilution)


def combined_so2_difference(
    *, free_mg_per_l: float, total_mg_per_l: float, allowance_mg_per_l: float
) -> float:
    return combined_so2(free_mg_per_l, total_mg_per_l, allowance_mg_per_l=allowance_mg_per_l)


def molecular_so2(*, free_mg_per_l: float, ph: float, pk: float) -> float:
    free = in_range("free SO2", free_mg_per_l, 0.0, HIGHEST_FREE_MG_PER_L, "mg/L")
    return free * float(molecular_fraction(ph, pk))


def acidity_as_tartaric(
    *,
    titre_ml: float,
    blank_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    dilution: float,
) -> float:
    strength = _strength(titrant_mol_per_l, titrant_factor)
    end_point = AcidEndPoint.PH_8_2  # it gives the number its name and does not enter the arithmetic
    found = titratable_acidity(titre_ml, strength, sample_ml, end_point, blank_ml=blank_ml)
    return _diluted(found.g_per_l, dilution)


def volatile_acidity_as_acetic(
    *,
    titre_ml: float,
    blank_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    iodine_mol_per_l: float,
    free_so2_iodine_ml: float,
    bound_so2_iodine_ml: float,
    sorbic_acid_mg_per_l: float,
) -> float:
    return volatile_acidity(
        titre_ml,
        _strength(titrant_mol_per_l, titrant_factor),
        sample_ml,
        blank_ml=blank_ml,
        iodine_mol_per_l=iodine_mol_per_l,
        free_so2_iodine_ml=free_so2_iodine_ml,
        bound_so2_iodine_ml=bound_so2_iodine_ml,
        sorbic_acid_mg_per_l=sorbic_acid_mg_per_l,
    ).g_per_l_acetic


def nitrogen_by_formol(
    *,
    titre_ml: float,
    blank_ml: float,
    titrant_mol_per_l: float,
    titrant_factor: float,
    sample_ml: float,
    dilution: float,
) -> float:
    strength = _strength(titrant_mol_per_l, titrant_factor)
    return formol_nitrogen(titre_ml, strength, sample_ml, dilution=dilution, blank_ml=blank_ml)


def titrant_strength_weighed(
    *,
    mass_g: float,
    purity: float,
    standard_g_per_mol: float,
    titrant_per_standard: float,
    titre_ml: float,
    blank_ml: float,
) -> float:
    return strength_from_standard(
        mass_g,
        standard_g_per_mol,
        titre_ml,
        purity=purity,
        blank_ml=blank_ml,
        titrant_per_standard=titrant_per_standard,
    )


def titrant_strength_solution(
    *,
    standard_mol_per_l: float,
    standard_ml: float,
    titrant_per_standard: float,
    titre_ml: float,
    blank_ml: float,
) -> float:
    strength = positive("strength of the standard", standard_mol_per_l, "mol/L")
    amount_mmol = strength * positive("volume of the standard", standard_ml, "mL")
    used_ml = positive("titre less blank", net_titre_ml(titre_ml, blank_ml), "mL")
    return amount_mmol * positive("titrant per standard", titrant_per_standard) / used_ml


def titrant_strength_titrated(
    *,
    standard_mol_per_l: float,
    titre_ml: float,
    blank_ml: float,
    standard_per_titrant: float,
    titrant_taken_ml: float,
) -> float:
    strength = positive("strength of the standard", standard_mol_per_l, "mol/L")
    used_mmol = strength * positive("titre less blank", net_titre_ml(titre_ml, blank_ml), "mL")
    taken_ml = positive("titrant taken", titrant_taken_ml, "mL")
    return used_mmol / (positive("standard per titrant", standard_per_titrant) * taken_ml)


def _strength(mol_per_l: float, factor: float) -> float:
    return positive("titrant strength", mol_per_l, "mol/L") * positive("titrant factor", factor)


def _diluted(value: float, dilution: float) -> float:
    return value * in_range("dilution", dilution, 1.0, MOST_DILUTION)

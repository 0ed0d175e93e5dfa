"""Free, combined and total sulfur dioxide from titres, by iodine and by aeration.

The strength of the titrant is always the amount concentration of iodine, I2; see `evaluate.titre`.
"""

from enum import StrEnum
from typing import Final, NamedTuple

from evaluate.checks import in_range, positive
from evaluate.constants import SULFUR_DIOXIDE_G_PER_MOL
from evaluate.errors import ContradictionError
from evaluate.so2_pairs import combined_so2
from evaluate.titre import net_titre_ml

ALKALI_PER_SULFUR_DIOXIDE: Final = 2  # mol OH- a mol SO2: SO2 + H2O2 -> H2SO4


class TotalVariant(StrEnum):
    """How the combined part was set free, which decides what the second titre counts."""

    ONE_FLASK = "one flask"
    """Alkali goes into the flask whose free SO2 was just titrated: later titres count the combined part."""
    TWO_PORTIONS = "two portions"
    """A fresh portion is treated with alkali: its titre counts the total."""


class SulfurDioxide(NamedTuple):
    """Free, combined and total sulfur dioxide of one sample, and how they were found. [mg/L]"""

    free_mg_per_l: float
    combined_mg_per_l: float
    total_mg_per_l: float
    variant: TotalVariant


def so2_by_iodine(
    titre_ml: float, iodine_mol_per_l: float, sample_ml: float, *, blank_ml: float = 0.0
) -> float:
    """Return the sulfur dioxide that an iodine titre counts.

    Parameters
    ----------
    titre_ml : float
        Iodine used, not below the blank. [mL]
    iodine_mol_per_l : float
        Strength as iodine, I2, more than 0. [mol/L]
    sample_ml : float
        Wine in the flask, more than 0. [mL]
    blank_ml : float
        Iodine used by the reagents alone. [mL]

    Returns
    -------
    float
        Sulfur dioxide. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If the titre is below its blank.

    Notes
    -----
    One iodine counts one sulfur dioxide: SO2 + I2 + 2 H2O -> H2SO4 + 2 HI [1]_. Whatever else reduces iodine
    (ascorbic acid, phenols, copper) counts too; `free_so2_by_iodine` takes it off.

    References
    ----------
    .. [1] OIV-MA-AS323-04B, type IV; recalled. The stoichiometry is published in school courses.

    Examples
    --------
    >>> round(so2_by_iodine(5.0, 0.0080, 20.0), 1)
    128.1
    """
    strength = positive("iodine strength", iodine_mol_per_l, "mol/L")
    amount_mmol = net_titre_ml(titre_ml, blank_ml) * strength
    return amount_mmol * SULFUR_DIOXIDE_G_PER_MOL * 1000 / positive("sample volume", sample_ml, "mL")


def free_so2_by_iodine(
    titre_ml: float,
    iodine_mol_per_l: float,
    sample_ml: float,
    *,
    blank_ml: float | None = None,
    aldehyde_titre_ml: float | None = None,
) -> float:
    """Return free sulfur dioxide, less what else in the wine reduces iodine.

    Parameters
    ----------
    titre_ml : float
        Iodine used for the wine as it is. [mL]
    iodine_mol_per_l : float
        Strength as iodine, I2, more than 0. [mol/L]
    sample_ml : float
        Wine in the flask, the same in both titrations, more than 0. [mL]
    blank_ml : float, optional
        Iodine used by the reagents alone. [mL]
    aldehyde_titre_ml : float, optional
        Iodine used for the wine after an excess of ethanal bound its free SO2. [mL]

    Returns
    -------
    float
        Free sulfur dioxide. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If a blank and an aldehyde titre are both given, or the titre is below the one that was given.

    Notes
    -----
    The aldehyde titre holds the reagents' own use as well, so it takes the place of the blank; with both, the
    blank would be taken off twice. Needed with ascorbic acid or much phenol. Method recalled from
    OIV-MA-AS323-04B; its principle is published in the sister method for vinegar, OIV-MA-VI-09.

    References
    ----------
    .. [1] OIV-MA-AS323-04B, type IV, recalled; principle in OIV-MA-VI-09. Published.
    """
    if blank_ml is not None and aldehyde_titre_ml is not None:
        raise ContradictionError(
            "a reagent blank and an aldehyde titre were both given: the aldehyde titre contains the blank; "
            "give one of them",
            name="blank",
            value=blank_ml,
        )
    own = aldehyde_titre_ml if aldehyde_titre_ml is not None else blank_ml
    return so2_by_iodine(titre_ml, iodine_mol_per_l, sample_ml, blank_ml=0.0 if own is None else own)


def so2_one_flask(
    free_titre_ml: float,
    later_titres_ml: tuple[float, ...],
    iodine_mol_per_l: float,
    sample_ml: float,
    *,
    blank_ml: float = 0.0,
) -> SulfurDioxide:
    """Return free, combined and total sulfur dioxide of the variant that treats one flask again and again.

    Parameters
    ----------
    free_titre_ml : float
        Iodine used before any alkali. [mL]
    later_titres_ml : tuple of float
        Iodine used after each treatment with alkali, each counted from zero; one or two. [mL]
    iodine_mol_per_l : float
        Strength as iodine, I2, more than 0. [mol/L]
    sample_ml : float
        Wine in the flask, more than 0. [mL]
    blank_ml : float
        Iodine used by the reagents alone, taken off the free titre. [mL]

    Returns
    -------
    SulfurDioxide
        All three. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range, or there is not one or two later titres.
    ContradictionError
        If the free titre is below its blank.

    Notes
    -----
    Free = k n, combined = k (n' + n''), total = k (n + n' + n'') with k = 32 mg/mL for 50 mL of wine and
    0.025 mol/L iodine [1]_.

    References
    ----------
    .. [1] OIV-MA-AS323-04B, type IV; recalled.
    """
    in_range("number of titres after alkali", len(later_titres_ml), 1, 2)
    free = so2_by_iodine(free_titre_ml, iodine_mol_per_l, sample_ml, blank_ml=blank_ml)
    combined = sum(so2_by_iodine(titre, iodine_mol_per_l, sample_ml) for titre in later_titres_ml)
    return SulfurDioxide(free, combined, free + combined, TotalVariant.ONE_FLASK)


def so2_two_portions(
    free_mg_per_l: float, total_mg_per_l: float, *, allowance_mg_per_l: float = 0.0
) -> SulfurDioxide:
    """Return free, combined and total sulfur dioxide when a fresh portion is treated for the total.

    Parameters
    ----------
    free_mg_per_l : float
        Free SO2 of the first portion, not negative. [mg/L]
    total_mg_per_l : float
        Total SO2 of the second portion, not negative. [mg/L]
    allowance_mg_per_l : float
        By how much free may exceed total before the pair is refused. [mg/L]

    Returns
    -------
    SulfurDioxide
        All three; the combined part is never below zero. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or negative.
    ContradictionError
        If free exceeds total by more than the allowance.

    Notes
    -----
    Combined = total - free, by definition. Each value comes from `so2_by_iodine` or `so2_by_aeration`.

    References
    ----------
    .. [1] Royal Society of Chemistry, resource 584: alkali on a separate portion. Published.
    """
    combined = combined_so2(free_mg_per_l, total_mg_per_l, allowance_mg_per_l=allowance_mg_per_l)
    return SulfurDioxide(free_mg_per_l, combined, total_mg_per_l, TotalVariant.TWO_PORTIONS)


def so2_by_aeration(
    titre_ml: float, naoh_mol_per_l: float, sample_ml: float, *, blank_ml: float = 0.0
) -> float:
    """Return the sulfur dioxide that was carried over into peroxide and titrated with alkali.

    Parameters
    ----------
    titre_ml : float
        Sodium hydroxide used, not below the blank. [mL]
    naoh_mol_per_l : float
        Its strength, more than 0. [mol/L]
    sample_ml : float
        Wine in the flask, more than 0. [mL]
    blank_ml : float
        Sodium hydroxide used without wine. [mL]

    Returns
    -------
    float
        Sulfur dioxide: free if the flask was cold, total if it was heated. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If the titre is below its blank.

    Notes
    -----
    SO2 + H2O2 -> H2SO4, so two alkali count one sulfur dioxide: 6.4 mg/L a millilitre for 50 mL of wine and
    0.01 mol/L [1]_. Much volatile acidity or carbon dioxide can read high.

    References
    ----------
    .. [1] Regulation (EEC) 2676/90, consolidated 2005, annex, chapter 25, 2.2.3.2.1. Published.

    Examples
    --------
    >>> round(so2_by_aeration(5.0, 0.0100, 50.0), 1)
    32.0
    """
    strength = positive("sodium hydroxide strength", naoh_mol_per_l, "mol/L")
    amount_mmol = net_titre_ml(titre_ml, blank_ml) * strength / ALKALI_PER_SULFUR_DIOXIDE
    return amount_mmol * SULFUR_DIOXIDE_G_PER_MOL * 1000 / positive("sample volume", sample_ml, "mL")

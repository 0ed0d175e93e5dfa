"""Volatile acidity from a steam distillate, with its corrections, and the check of the still."""

from typing import Final, NamedTuple

from evaluate import constants
from evaluate.checks import not_negative, positive
from evaluate.errors import ContradictionError
from evaluate.titre import net_titre_ml

FREE_SO2_EQ_PER_IODINE: Final = 2  # eq a mol: free SO2 in the distillate gives two protons up to pH 8.2
BOUND_SO2_EQ_PER_IODINE: Final = 1  # eq a mol: aldehyde-bound SO2 is a sulfonic acid and gives one


class VolatileAcidity(NamedTuple):
    """Volatile acidity, and what was taken off on the way to it. [meq/L]"""

    meq_per_l: float
    so2_meq_per_l: float
    """Taken off for free and bound sulfur dioxide in the distillate."""
    sorbic_meq_per_l: float
    """Taken off for sorbic acid."""

    @property
    def g_per_l_acetic(self) -> float:
        """The same as acetic acid. [g/L]"""
        return self.meq_per_l * constants.ACETIC_ACID_G_PER_MOL / 1000


def volatile_acidity(
    titre_ml: float,
    naoh_mol_per_l: float,
    sample_ml: float,
    *,
    blank_ml: float = 0.0,
    iodine_mol_per_l: float = 0.005,
    free_so2_iodine_ml: float = 0.0,
    bound_so2_iodine_ml: float = 0.0,
    sorbic_acid_mg_per_l: float = 0.0,
) -> VolatileAcidity:
    """Return the volatile acidity from the titre of a steam distillate, less what is not volatile acid.

    Parameters
    ----------
    titre_ml : float
        Sodium hydroxide used by the distillate, not below the blank. [mL]
    naoh_mol_per_l : float
        Its strength, more than 0. [mol/L]
    sample_ml : float
        Wine distilled, more than 0. [mL]
    blank_ml : float
        Sodium hydroxide used by a distillate of water. [mL]
    iodine_mol_per_l : float
        Strength, as I2, of the iodine used on the distillate, more than 0. [mol/L]
    free_so2_iodine_ml : float
        Iodine used by the free sulfur dioxide in the whole distillate. [mL]
    bound_so2_iodine_ml : float
        Iodine used after the bound sulfur dioxide in it was set free. [mL]
    sorbic_acid_mg_per_l : float
        Sorbic acid in the wine, all of which goes over with the steam. [mg/L]

    Returns
    -------
    VolatileAcidity
        In meq/L and as acetic acid, with what was taken off.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If the titre is below its blank, or the corrections exceed it.

    Notes
    -----
    Free sulfur dioxide in the distillate counts as two equivalents, the bound part as one: for 20 mL of wine,
    0.1 mol/L alkali and 0.005 mol/L iodine this is 5 (n - 0.1 n' - 0.05 n'') meq/L [1]_. Carbon dioxide is to
    be driven off before the distillation. The legal limit of 20 meq/L is printed as 1.2 g/L acetic acid [2]_.

    References
    ----------
    .. [1] OIV-MA-AS313-02; that these corrections belong to it is published, the factors are recalled and
       follow from the stoichiometry.
    .. [2] OIV, maximum acceptable limits. Published.
    """
    sample = positive("sample volume", sample_ml, "mL")
    strength = positive("sodium hydroxide strength", naoh_mol_per_l, "mol/L")
    found = net_titre_ml(titre_ml, blank_ml) * strength * 1000 / sample
    iodine_meq = (
        FREE_SO2_EQ_PER_IODINE * not_negative("iodine for free SO2", free_so2_iodine_ml, "mL")
        + BOUND_SO2_EQ_PER_IODINE * not_negative("iodine for bound SO2", bound_so2_iodine_ml, "mL")
    ) * positive("iodine strength", iodine_mol_per_l, "mol/L")
    so2 = iodine_meq * 1000 / sample
    sorbic = not_negative("sorbic acid", sorbic_acid_mg_per_l, "mg/L") / constants.SORBIC_ACID_G_PER_MOL
    return VolatileAcidity(_less_corrections(found, so2 + sorbic), so2, sorbic)


def still_recovery(
    titre_ml: float, naoh_mol_per_l: float, acid_ml: float, acid_mol_per_l: float, *, blank_ml: float = 0.0
) -> float:
    """Return the share of a known acetic acid that a still carries over.

    Parameters
    ----------
    titre_ml : float
        Sodium hydroxide used by the distillate, not below the blank. [mL]
    naoh_mol_per_l : float
        Its strength, more than 0. [mol/L]
    acid_ml : float
        Acetic acid distilled, more than 0. [mL]
    acid_mol_per_l : float
        Its strength, more than 0. [mol/L]
    blank_ml : float
        Sodium hydroxide used by a distillate of water. [mL]

    Returns
    -------
    float
        Recovery as a share of one; a still must reach 0.995.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If the titre is below its blank.

    Notes
    -----
    Found over given. At least 99.5 % of 20 mL of 0.1 mol/L, that is 19.9 mL [1]_.

    References
    ----------
    .. [1] OIV-MA-AS313-02. Published.
    """
    given = positive("acid volume", acid_ml, "mL") * positive("acid strength", acid_mol_per_l, "mol/L")
    strength = positive("sodium hydroxide strength", naoh_mol_per_l, "mol/L")
    return net_titre_ml(titre_ml, blank_ml) * strength / given


def _less_corrections(found_meq_per_l: float, taken_off_meq_per_l: float) -> float:
    if taken_off_meq_per_l > found_meq_per_l:
        raise ContradictionError(
            f"the corrections of {taken_off_meq_per_l:.3g} meq/L exceed the acidity of the distillate, "
            f"{found_meq_per_l:.3g} meq/L: look at the iodine titres and the still",
            name="corrections",
            value=taken_off_meq_per_l,
            high=found_meq_per_l,
        )
    return found_meq_per_l - taken_off_meq_per_l

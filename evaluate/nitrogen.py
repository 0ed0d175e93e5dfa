"""Assimilable nitrogen by formol titration."""

from evaluate import constants
from evaluate.checks import in_range, positive
from evaluate.titre import net_titre_ml


def formol_nitrogen(
    titre_ml: float,
    naoh_mol_per_l: float,
    aliquot_ml: float,
    *,
    dilution: float = 1.0,
    blank_ml: float = 0.0,
) -> float:
    """Return the assimilable nitrogen from a titration after formaldehyde was added.

    Parameters
    ----------
    titre_ml : float
        Sodium hydroxide used from pH 8.0 back to pH 8.0 after the formaldehyde, not below the blank. [mL]
    naoh_mol_per_l : float
        Its strength as it is, more than 0. [mol/L]
    aliquot_ml : float
        Diluted juice taken, more than 0. [mL]
    dilution : float
        Final volume over juice taken, at least 1: 2.5 for 10 mL made up to 25 mL.
    blank_ml : float
        Sodium hydroxide used by neutralised formaldehyde alone. [mL]

    Returns
    -------
    float
        Nitrogen. [mg N/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If the titre is below its blank.

    Notes
    -----
    One proton a nitrogen: V c x dilution x 1000 / aliquot x 14 [1]_. The same note scales an alkali that is
    not 0.05 mol/L by 0.05 over its strength, which is upside down; the true strength stands in the formula
    here. Proline is found in part, arginine once; below 150 mg/L sulfur dioxide does not disturb.

    References
    ----------
    .. [1] Virginia Tech enology extension, reduced-volume formol titration. Published.

    Examples
    --------
    >>> round(formol_nitrogen(1.0, 0.0500, 10.0, dilution=2.5))
    175
    """
    strength = positive("sodium hydroxide strength", naoh_mol_per_l, "mol/L")
    aliquot = positive("aliquot", aliquot_ml, "mL")
    diluted = in_range("dilution", dilution, 1.0, 1000.0)
    amount_mmol = net_titre_ml(titre_ml, blank_ml) * strength
    return amount_mmol * diluted * 1000 / aliquot * constants.NITROGEN_G_PER_MOL

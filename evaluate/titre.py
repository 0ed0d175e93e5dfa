"""What a titre counts: the titrant that the sample itself used, and the strength of iodine titrants.

The strength of an iodine titrant is always the amount concentration of I2. A label such as "0.02 N" is turned
into it by `evaluate.concentrations.molar_from_normality`.
"""

from typing import Final

from evaluate.checks import not_negative, positive
from evaluate.errors import ContradictionError

IODINE_PER_IODATE: Final = 3  # mol I2 a mol KIO3: IO3- + 5 I- + 6 H+ -> 3 I2 + 3 H2O
THIOSULFATE_PER_IODINE: Final = 2  # mol S2O3(2-) a mol I2: I2 + 2 S2O3(2-) -> 2 I- + S4O6(2-)


def net_titre_ml(titre_ml: float, blank_ml: float = 0.0) -> float:
    """Return a titre less its blank; the one place where a blank is taken off.

    Parameters
    ----------
    titre_ml : float
        Titrant used for the sample, not negative. [mL]
    blank_ml : float
        Titrant used by the reagents alone, not negative. [mL]

    Returns
    -------
    float
        Titrant used by the sample. [mL]

    Raises
    ------
    OutOfRangeError
        If a volume is not finite or negative.
    ContradictionError
        If the titre is below the blank.

    Notes
    -----
    Definition, for direct titrations. A titre below the blank is a fault of the bench and never a zero.

    References
    ----------
    .. [1] Definition of a blank in a direct titration, exact.
    """
    titre = not_negative("titre", titre_ml, "mL")
    blank = not_negative("blank", blank_ml, "mL")
    if titre < blank:
        raise ContradictionError(
            f"a titre of {titre:g} mL is below its blank of {blank:g} mL: repeat the sample and the blank",
            name="titre",
            value=titre,
            low=blank,
        )
    return titre - blank


def iodine_from_iodate(iodate_mol_per_l: float) -> float:
    """Return the iodine that an iodate titrant sets free in an acid sample with iodide in excess.

    Parameters
    ----------
    iodate_mol_per_l : float
        Potassium iodate, more than 0. [mol/L]

    Returns
    -------
    float
        Strength as iodine, I2. [mol/L]

    Raises
    ------
    OutOfRangeError
        If the strength is not finite or not more than 0.

    Notes
    -----
    One iodate gives three iodine, textbook stoichiometry: IO3- + 5 I- + 6 H+ -> 3 I2 + 3 H2O. It holds only
    while the flask has acid and iodide to spare.

    References
    ----------
    .. [1] Textbook stoichiometry. Published.

    Examples
    --------
    >>> round(iodine_from_iodate(1 / 384), 7)
    0.0078125
    """
    return IODINE_PER_IODATE * positive("iodate strength", iodate_mol_per_l, "mol/L")


def iodine_from_thiosulfate(
    thiosulfate_mol_per_l: float, thiosulfate_ml: float, iodine_ml: float, *, blank_ml: float = 0.0
) -> float:
    """Return the strength of an iodine solution that was titrated with thiosulfate.

    Parameters
    ----------
    thiosulfate_mol_per_l : float
        Strength of the thiosulfate, more than 0. [mol/L]
    thiosulfate_ml : float
        Thiosulfate used, not below the blank. [mL]
    iodine_ml : float
        Iodine solution taken, more than 0. [mL]
    blank_ml : float
        Thiosulfate used without iodine solution. [mL]

    Returns
    -------
    float
        Strength as iodine, I2. [mol/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If the titre is below its blank.

    Notes
    -----
    I2 + 2 S2O3(2-) -> 2 I- + S4O6(2-), textbook stoichiometry.

    References
    ----------
    .. [1] Textbook stoichiometry. Published.
    """
    strength = positive("thiosulfate strength", thiosulfate_mol_per_l, "mol/L")
    used_ml = net_titre_ml(thiosulfate_ml, blank_ml)
    return strength * used_ml / (THIOSULFATE_PER_IODINE * positive("iodine volume", iodine_ml, "mL"))

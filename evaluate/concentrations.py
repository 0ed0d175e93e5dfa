"""Conversions between units of strength that need one more fact: equivalents, a density, or a solute."""

from typing import Final

from evaluate.checks import in_range, not_negative, positive
from evaluate.constants import WATER_AT_20_C_KG_PER_M3
from evaluate.errors import OutOfRangeError

_SUCROSE_KG_PER_M3: Final = (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890)
"""Excess density of sucrose solutions at 20 °C by powers 1 to 6 of the mass fraction. [kg/m3]"""
HIGHEST_BRIX: Final = 60.0  # °Brix; above must and below the solubility of sucrose at 20 °C
_BRIX_TOLERANCE: Final = 1e-10  # °Brix; where the search for the root stops


def molar_from_normality(normality: float, equivalents: int) -> float:
    """Return the amount concentration of a solution whose normality is known.

    Parameters
    ----------
    normality : float
        Not negative. [eq/L]
    equivalents : int
        Protons or electrons that one formula unit exchanges in the reaction at hand, 1 to 8.

    Returns
    -------
    float
        Amount concentration. [mol/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite, negative, or not a whole number from 1 to 8.

    Notes
    -----
    Definition, exact. One bottle has as many normalities as reactions: iodine has two equivalents against
    sulfur dioxide, potassium iodate six.

    References
    ----------
    .. [1] Definition of the equivalent, exact.

    Examples
    --------
    >>> molar_from_normality(0.02, equivalents=2)
    0.01
    """
    return not_negative("normality", normality, "eq/L") / _whole(equivalents)


def normality_from_molar(mol_per_l: float, equivalents: int) -> float:
    """Return the normality of a solution whose amount concentration is known.

    Parameters
    ----------
    mol_per_l : float
        Not negative. [mol/L]
    equivalents : int
        Protons or electrons that one formula unit exchanges in the reaction at hand, 1 to 8.

    Returns
    -------
    float
        Normality. [eq/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite, negative, or not a whole number from 1 to 8.

    Notes
    -----
    Definition, exact.

    References
    ----------
    .. [1] Definition of the equivalent, exact.
    """
    return not_negative("amount concentration", mol_per_l, "mol/L") * _whole(equivalents)


def ppm_from_mg_per_l(mg_per_l: float, density_g_per_ml: float) -> float:
    """Return a mass concentration as parts a million by mass.

    Parameters
    ----------
    mg_per_l : float
        Not negative. [mg/L]
    density_g_per_ml : float
        Density of the liquid, 0.7 to 1.5. [g/mL]

    Returns
    -------
    float
        Parts a million by mass. [mg/kg]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    Definition, exact. The trade reads ppm of sulfur dioxide in wine as mg/L; the two differ by the density,
    about 1 % in dry wine and 10 % in must.

    References
    ----------
    .. [1] Definition of parts a million by mass, exact.
    """
    return not_negative("mass concentration", mg_per_l, "mg/L") / _density(density_g_per_ml)


def mg_per_l_from_ppm(ppm: float, density_g_per_ml: float) -> float:
    """Return parts a million by mass as a mass concentration.

    Parameters
    ----------
    ppm : float
        Parts a million by mass, not negative. [mg/kg]
    density_g_per_ml : float
        Density of the liquid, 0.7 to 1.5. [g/mL]

    Returns
    -------
    float
        Mass concentration. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    Definition, exact.

    References
    ----------
    .. [1] Definition of parts a million by mass, exact.
    """
    return not_negative("parts a million", ppm, "mg/kg") * _density(density_g_per_ml)


def density_from_brix(brix: float) -> float:
    r"""Return the density of a sucrose solution at 20 °C.

    Parameters
    ----------
    brix : float
        Sucrose in per cent by mass, 0 to 60. [°Brix]

    Returns
    -------
    float
        Density at 20 °C. [g/mL]

    Raises
    ------
    OutOfRangeError
        If `brix` is not finite or outside its range.

    Notes
    -----
    :math:`\rho = \rho_w + \sum_{i=1}^{6} b_i w^i` with the mass fraction *w* [1]_. It holds for sucrose in
    water: must comes close, fermenting must does not, because alcohol lowers the density.

    References
    ----------
    .. [1] Bubník, Kadlec, Urban, Bruhns, Sugar Technologists Manual, 8th edition, 1995, p. 164, as quoted;
       the terms in temperature are left out. Published.

    Examples
    --------
    >>> round(density_from_brix(20.0), 5)
    1.08098
    """
    return _sucrose_density(in_range("Brix", brix, 0.0, HIGHEST_BRIX, "°Brix"))


def brix_from_density(density_g_per_ml: float) -> float:
    """Return the strength of the sucrose solution that has this density at 20 °C.

    Parameters
    ----------
    density_g_per_ml : float
        Density at 20 °C, that of water to that of 60 °Brix: 0.998201 to 1.28661. [g/mL]

    Returns
    -------
    float
        Sucrose in per cent by mass. [°Brix]

    Raises
    ------
    OutOfRangeError
        If the density is not finite or outside its range.

    Notes
    -----
    Inverse of `density_from_brix`, found by halving an interval in which the density rises steadily.
    Published by way of `density_from_brix`.

    References
    ----------
    .. [1] The formula of `density_from_brix`, inverted. Published.
    """
    low, high = 0.0, HIGHEST_BRIX
    wanted = in_range(
        "density at 20 °C", density_g_per_ml, _sucrose_density(low), _sucrose_density(high), "g/mL"
    )
    while high - low > _BRIX_TOLERANCE:
        middle = (low + high) / 2
        low, high = (middle, high) if _sucrose_density(middle) <= wanted else (low, middle)
    return (low + high) / 2


def _sucrose_density(brix: float) -> float:
    fraction = brix / 100
    excess = sum(b * fraction**power for power, b in enumerate(_SUCROSE_KG_PER_M3, start=1))
    return (WATER_AT_20_C_KG_PER_M3 + excess) / 1000


def _density(g_per_ml: float) -> float:
    return in_range("density", positive("density", g_per_ml, "g/mL"), 0.7, 1.5, "g/mL")


def _whole(equivalents: int) -> int:
    number = in_range("equivalents", equivalents, 1, 8)
    if number != int(number):
        raise OutOfRangeError(
            f"equivalents must be a whole number, not {number:g}",
            name="equivalents",
            value=equivalents,
            low=1,
            high=8,
        )
    return int(number)

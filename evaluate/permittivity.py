"""Activity of ions in water and alcohol: permittivity and the Debye-Hückel term."""

from typing import TYPE_CHECKING, Final

from evaluate.checks import all_in_range
from evaluate.constants import ZERO_CELSIUS_K

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

_WATER: Final = (87.740, -0.40008, 9.398e-4, -1.410e-6)
"""Permittivity of water by powers of the temperature in °C: Malmberg and Maryott 1956. Published, as
carried by public programs."""
_WATER_AT_25_C: Final = 78.3034  # the same at 25 °C
_ETHANOL_AT_25_C: Final = (78.54, -56.942, -3.9474)
"""Permittivity at 25 °C by powers of the mass fraction of ethanol: fit after Usseglio-Tomasset and Bosia
1978. Recalled."""
_ETHANOL_G_PER_ML: Final = 0.78924  # g/mL at 20 °C; OIML R 22. Published
_MIXTURE_G_PER_ML: Final = (0.99820, -0.00130)
"""Density of water and ethanol at 20 °C by powers of the strength in % vol, to 0.002 g/mL up to 20 % vol."""
_DH_A: Final = 1.8246e6  # (K)^1.5 (L/mol)^0.5; Debye-Hückel A, within 0.1 % of the constants of nature
_DH_B: Final = 50.29  # K^0.5 (L/mol)^0.5 per angstrom; Debye-Hückel B, as A
_ION_SIZE_ANGSTROM: Final = 5.0  # angstrom; of the hydrogen sulfite ion. Recalled


def ethanol_mass_fraction(alcohol_pct_vol: "ArrayLike") -> "NDArray[np.float64]":
    """Return the mass fraction of ethanol in water and ethanol of a strength by volume.

    Parameters
    ----------
    alcohol_pct_vol : array_like
        Strength, 0 to 20, any shape. [% vol]

    Returns
    -------
    ndarray
        Mass fraction, of the same shape.

    Raises
    ------
    OutOfRangeError
        If a strength is not finite or outside its range.

    Notes
    -----
    Volume fraction times density of ethanol over density of the mixture, the latter as a straight line good
    to 0.2 %. Common practice, no source.

    References
    ----------
    .. [1] Common practice, no source.
    """
    strength = all_in_range("alcohol", alcohol_pct_vol, 0.0, 20.0, "% vol")
    return strength / 100 * _ETHANOL_G_PER_ML / (_MIXTURE_G_PER_ML[0] + _MIXTURE_G_PER_ML[1] * strength)


def permittivity(alcohol_pct_vol: "ArrayLike", temperature_c: "ArrayLike") -> "NDArray[np.float64]":
    """Return the relative permittivity of water and ethanol.

    Parameters
    ----------
    alcohol_pct_vol : array_like
        Strength, 0 to 20, shape as `temperature_c` or to be broadcast with it. [% vol]
    temperature_c : array_like
        Temperature, 0 to 50. [°C]

    Returns
    -------
    ndarray
        Relative permittivity, of the broadcast shape.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    That at 25 °C, scaled with temperature as water is. For the activity term of dilute ions, where 1 % of
    permittivity moves a pK by about 0.001.

    References
    ----------
    .. [1] Malmberg and Maryott, J. Res. NBS 56 (1956) 1, for water. Published.
    .. [2] After Usseglio-Tomasset and Bosia 1978, for ethanol. Recalled.
    """
    celsius = _celsius(temperature_c)
    w = ethanol_mass_fraction(alcohol_pct_vol)
    at_25_c = _ETHANOL_AT_25_C[0] + _ETHANOL_AT_25_C[1] * w + _ETHANOL_AT_25_C[2] * w**2
    return at_25_c * _water(celsius) / _WATER_AT_25_C


def debye_huckel_step(
    alcohol_pct_vol: "ArrayLike", temperature_c: "ArrayLike", ionic_strength_mol_per_l: float
) -> "NDArray[np.float64]":
    r"""Return by how much the mixed constant of a weak acid lies below the thermodynamic one.

    Parameters
    ----------
    alcohol_pct_vol : array_like
        Strength, 0 to 20, shape as `temperature_c` or to be broadcast with it. [% vol]
    temperature_c : array_like
        Temperature, 0 to 50. [°C]
    ionic_strength_mol_per_l : float
        Ionic strength, 0 to 0.1. [mol/L]

    Returns
    -------
    ndarray
        Step in pK, of the broadcast shape.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    :math:`A \sqrt I / (1 + B \sqrt I)` with :math:`A = 1.8246 \times 10^6 / (D T)^{1.5}` and
    :math:`B = 50.29\, a / \sqrt{D T}`, ion size *a* = 5 angstrom [1]_.

    References
    ----------
    .. [1] OIV-MA-AS323-04C, type IV: the form and I = 0.038 are published; A and B follow from
       the constants of nature, the ion size is recalled.
    """
    ionic = float(all_in_range("ionic strength", ionic_strength_mol_per_l, 0.0, 0.1, "mol/L"))
    product = permittivity(alcohol_pct_vol, temperature_c) * (_celsius(temperature_c) + ZERO_CELSIUS_K)
    root = ionic**0.5
    debye_a, debye_b = _DH_A / product**1.5, _DH_B / product**0.5
    step: NDArray[np.float64] = debye_a * root / (1 + debye_b * _ION_SIZE_ANGSTROM * root)
    return step


def _celsius(temperature_c: "ArrayLike") -> "NDArray[np.float64]":
    return all_in_range("temperature", temperature_c, 0.0, 50.0, "°C")


def _water(celsius: "NDArray[np.float64]") -> "NDArray[np.float64]":
    a, b, c, d = _WATER
    return a + celsius * (b + celsius * (c + celsius * d))

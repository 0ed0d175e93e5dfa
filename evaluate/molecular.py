"""Molecular sulfur dioxide: the undissociated share of the free, which does the work.

All functions take numbers or arrays. Arrays of different shapes are broadcast; numbers alone give an array
of no dimension, which `float` turns into a number. A value that is not finite or outside its range is
refused for the whole array, and the error names the first such value.
"""

from typing import TYPE_CHECKING, Final

from evaluate.checks import all_in_range
from evaluate.errors import OutOfRangeError
from evaluate.permittivity import debye_huckel_step
from evaluate.so2_constants import REFERENCE_TEMPERATURE_C, ConstantSet, constant_set

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

LOWEST_PH: Final = 2.5  # pH; below it no wine or must was found
HIGHEST_PH: Final = 4.5  # pH; above it the second dissociation begins to count
HIGHEST_FREE_MG_PER_L: Final = 500.0  # mg/L; well above any legal total for dry wine


def sulfurous_pk(
    constants: str,
    alcohol_pct_vol: "ArrayLike | None" = None,
    temperature_c: "ArrayLike" = REFERENCE_TEMPERATURE_C,
) -> "NDArray[np.float64]":
    """Return the dissociation constant that a named set gives for a wine.

    Parameters
    ----------
    constants : str
        Name of the set, see `evaluate.so2_constants`.
    alcohol_pct_vol : array_like, optional
        Strength, 0 to 20; a set of one figure does without. [% vol]
    temperature_c : array_like
        Temperature the answer is for, 20 to 40; a set of one figure does not look at it. [°C]

    Returns
    -------
    ndarray
        pK, of the broadcast shape.

    Raises
    ------
    UnknownNameError
        If there is no such set.
    OutOfRangeError
        If an input is not finite, outside the table, or the set needs an alcohol and there is none. There
        is no extrapolation: 5 °C move the pK by 0.2.

    Notes
    -----
    A table is read on straight lines between its cells, in both directions: it has a kink at 30 °C which a
    polynomial would smooth away. The mixed constant is the thermodynamic one less the Debye-Hückel step [1]_.

    References
    ----------
    .. [1] OIV-MA-AS323-04C, type IV, Table I: published for 0 to 15 % vol, recalled for 20 % vol.
    """
    import numpy as np

    chosen = constant_set(constants)
    if chosen.pk is not None:
        return np.asarray(chosen.pk, dtype=np.float64)
    if alcohol_pct_vol is None:
        raise OutOfRangeError(
            f"the constants {chosen.name} depend on alcohol: give the alcohol in % vol", name="alcohol"
        )
    alcohol = _within(chosen.alcohol_pct_vol, "alcohol", alcohol_pct_vol, "% vol")
    name = f"temperature for {chosen.name} (a colder wine is given at {chosen.temperature_c[0]:g} °C)"
    celsius = _within(chosen.temperature_c, name, temperature_c, "°C")
    step = debye_huckel_step(alcohol, celsius, chosen.ionic_strength_mol_per_l)
    return _on_straight_lines(chosen, alcohol, celsius) - step


def molecular_fraction(ph: "ArrayLike", pk: "ArrayLike") -> "NDArray[np.float64]":
    """Return the undissociated share of an acid.

    Parameters
    ----------
    ph : array_like
        2.5 to 4.5. [pH]
    pk : array_like
        Dissociation constant, 1 to 4.

    Returns
    -------
    ndarray
        Share of one, of the broadcast shape.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    1 / (1 + 10^(pH - pK)), mass action. The second dissociation, pK near 7.2, takes less than 0.1 % at pH 4
    and is left out.

    References
    ----------
    .. [1] OIV-MA-AS323-04C, type IV. Published.
    """
    exponent = all_in_range("pH", ph, LOWEST_PH, HIGHEST_PH) - all_in_range("pK", pk, 1.0, 4.0)
    return 1.0 / (1.0 + 10.0**exponent)


def molecular_so2(
    free_mg_per_l: "ArrayLike",
    ph: "ArrayLike",
    constants: str,
    *,
    alcohol_pct_vol: "ArrayLike | None" = None,
    temperature_c: "ArrayLike" = REFERENCE_TEMPERATURE_C,
) -> "NDArray[np.float64]":
    """Return the molecular sulfur dioxide of a wine.

    Parameters
    ----------
    free_mg_per_l : array_like
        Free sulfur dioxide, 0 to 500. [mg/L]
    ph : array_like
        2.5 to 4.5. [pH]
    constants : str
        Name of the set, to be stored and shown with the answer.
    alcohol_pct_vol : array_like, optional
        Strength, 0 to 20, where the set needs it. [% vol]
    temperature_c : array_like
        Temperature the answer is for: 20 °C by convention, because the table begins there. [°C]

    Returns
    -------
    ndarray
        Molecular sulfur dioxide, of the broadcast shape. [mg/L]

    Raises
    ------
    UnknownNameError
        If there is no such set.
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    Free times `molecular_fraction`. In red wine the free value holds pigment-bound sulfur dioxide, so this
    is an upper value.

    References
    ----------
    .. [1] OIV-MA-AS323-04C, type IV. Published; the constants carry sources of their own.

    Examples
    --------
    >>> round(float(molecular_so2(32.0, 3.40, "single-1.81")), 2)
    0.8
    """
    free = all_in_range("free SO2", free_mg_per_l, 0.0, HIGHEST_FREE_MG_PER_L, "mg/L")
    return free * molecular_fraction(ph, sulfurous_pk(constants, alcohol_pct_vol, temperature_c))


def free_so2_needed(
    molecular_mg_per_l: "ArrayLike",
    ph: "ArrayLike",
    constants: str,
    *,
    alcohol_pct_vol: "ArrayLike | None" = None,
    temperature_c: "ArrayLike" = REFERENCE_TEMPERATURE_C,
) -> "NDArray[np.float64]":
    """Return the free sulfur dioxide that gives a molecular one; the inverse of `molecular_so2`.

    Parameters
    ----------
    molecular_mg_per_l : array_like
        Molecular sulfur dioxide wanted, 0 to 10. [mg/L]
    ph : array_like
        2.5 to 4.5. [pH]
    constants : str
        Name of the set, to be stored and shown with the answer.
    alcohol_pct_vol : array_like, optional
        Strength, 0 to 20, where the set needs it. [% vol]
    temperature_c : array_like
        Temperature the answer is for. [°C]

    Returns
    -------
    ndarray
        Free sulfur dioxide, of the broadcast shape. [mg/L]

    Raises
    ------
    UnknownNameError
        If there is no such set.
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    Molecular over `molecular_fraction`. With pK 1.81 this is the table of Enology Briefs 1 [1]_, apart from
    its rows at half steps.

    References
    ----------
    .. [1] Enology Briefs 1, University of California Cooperative Extension, February 1982. Published.

    Examples
    --------
    >>> round(float(free_so2_needed(0.8, 3.50, "single-1.81")), 1)
    40.0
    """
    wanted = all_in_range("molecular SO2", molecular_mg_per_l, 0.0, 10.0, "mg/L")
    return wanted / molecular_fraction(ph, sulfurous_pk(constants, alcohol_pct_vol, temperature_c))


def _within(marks: tuple[float, ...], name: str, values: "ArrayLike", unit: str) -> "NDArray[np.float64]":
    return all_in_range(name, values, marks[0], marks[-1], unit)


def _on_straight_lines(
    chosen: ConstantSet, alcohol: "NDArray[np.float64]", celsius: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    import numpy as np

    cells = np.asarray(chosen.pk_thermodynamic, dtype=np.float64)
    row, up = _place(np.asarray(chosen.alcohol_pct_vol), alcohol)
    column, right = _place(np.asarray(chosen.temperature_c), celsius)
    low = cells[row, column] * (1 - right) + cells[row, column + 1] * right
    high = cells[row + 1, column] * (1 - right) + cells[row + 1, column + 1] * right
    found: NDArray[np.float64] = low * (1 - up) + high * up
    return found


def _place(
    marks: "NDArray[np.float64]", values: "NDArray[np.float64]"
) -> "tuple[NDArray[np.intp], NDArray[np.float64]]":
    """Return the interval each value lies in, and how far along it."""
    import numpy as np

    left = np.clip(np.searchsorted(marks, values, side="right") - 1, 0, len(marks) - 2)
    return left, (values - marks[left]) / (marks[left + 1] - marks[left])

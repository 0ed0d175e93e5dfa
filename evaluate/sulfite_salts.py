"""Sulfite salts and solutions: how much sulfur dioxide is in them, and how much of them a rise needs."""

from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from evaluate import constants
from evaluate.checks import in_range, not_negative, positive


class SulfiteSalt(NamedTuple):
    """A salt as bought: the share of its mass that becomes sulfur dioxide in wine."""

    name: str
    so2_share: float
    """Mass of SO2 over mass of salt."""
    source: str


POTASSIUM_METABISULFITE: Final = SulfiteSalt(
    "potassium metabisulfite",
    2 * constants.SULFUR_DIOXIDE_G_PER_MOL / constants.POTASSIUM_METABISULFITE_G_PER_MOL,
    "stoichiometry; printed as 57.6 % in Practical Winery & Vineyard, January 2014, p. 58",
)
SODIUM_METABISULFITE: Final = SulfiteSalt(
    "sodium metabisulfite",
    2 * constants.SULFUR_DIOXIDE_G_PER_MOL / constants.SODIUM_METABISULFITE_G_PER_MOL,
    "stoichiometry",
)
POTASSIUM_METABISULFITE_IN_CHARTS: Final = SulfiteSalt(
    "potassium metabisulfite at half its mass",
    0.50,  # built into common charts to allow for stale powder
    "common practice, no source; 15 % more salt than stoichiometry asks for",
)
SULFITE_SALTS: Final = MappingProxyType(
    {
        salt.name: salt
        for salt in (POTASSIUM_METABISULFITE, SODIUM_METABISULFITE, POTASSIUM_METABISULFITE_IN_CHARTS)
    }
)
"""Salts of theoretical strength by name. A lot that was titrated has its own strength."""


class Rounding(StrEnum):
    """Which way a mass goes to the next step of the balance."""

    NEAREST = "nearest"
    DOWN = "down"
    """Never above the mass asked for: for doses near a legal limit."""


def salt_mass_g(rise_mg_per_l: float, volume_l: float, so2_share: float) -> float:
    """Return the mass of salt that raises the total sulfur dioxide of a volume.

    Parameters
    ----------
    rise_mg_per_l : float
        Sulfur dioxide to add, 0 to 500. [mg/L]
    volume_l : float
        Wine in the vessel as it is, more than 0. [L]
    so2_share : float
        Share of the salt that is sulfur dioxide, more than 0 and at most 1.

    Returns
    -------
    float
        Salt. [g]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    rise x volume / (1000 x share), by definition.

    References
    ----------
    .. [1] Definition of the strength of a salt, exact.

    Examples
    --------
    >>> round(salt_mass_g(50.0, 4600.0, 0.576), 1)
    399.3
    """
    rise = in_range("rise of SO2", rise_mg_per_l, 0.0, 500.0, "mg/L")
    return rise * positive("volume of wine", volume_l, "L") / (1000 * _share(so2_share))


def rise_mg_per_l(salt_g: float, volume_l: float, so2_share: float) -> float:
    """Return by how much a mass of salt raises the total sulfur dioxide; the inverse of `salt_mass_g`.

    Parameters
    ----------
    salt_g : float
        Salt weighed, not negative. [g]
    volume_l : float
        Wine in the vessel, more than 0. [L]
    so2_share : float
        Share of the salt that is sulfur dioxide, more than 0 and at most 1.

    Returns
    -------
    float
        Rise of the total. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    mass x 1000 x share / volume, by definition; the volume of the salt is left out.

    References
    ----------
    .. [1] Definition of the strength of a salt, exact.
    """
    salt = not_negative("mass of salt", salt_g, "g")
    return salt * 1000 * _share(so2_share) / positive("volume of wine", volume_l, "L")


def solution_volume_ml(rise_mg_per_l: float, volume_l: float, salt_g_per_l: float, so2_share: float) -> float:
    """Return the volume of a salt solution that raises the total sulfur dioxide of a volume.

    Parameters
    ----------
    rise_mg_per_l : float
        Sulfur dioxide to add, 0 to 500. [mg/L]
    volume_l : float
        Wine in the vessel as it is, more than 0. [L]
    salt_g_per_l : float
        Salt in a litre of the solution, more than 0. Ask for this and never for "per cent", which means
        salt to one and sulfur dioxide to the next. [g/L]
    so2_share : float
        Share of the salt that is sulfur dioxide, more than 0 and at most 1.

    Returns
    -------
    float
        Solution. [mL]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    rise x volume / (g/L x share), by definition; the small volume of the solution itself is left out.

    References
    ----------
    .. [1] Definition of the strength of a solution, exact.
    """
    salt = salt_mass_g(rise_mg_per_l, volume_l, so2_share)
    return 1000 * salt / positive("salt in the solution", salt_g_per_l, "g/L")


def share_from_titration(found_so2_g_per_l: float, salt_g_per_l: float) -> float:
    """Return the strength of a salt from a solution of it that was titrated.

    Parameters
    ----------
    found_so2_g_per_l : float
        Sulfur dioxide found, not negative and at most the salt itself. [g/L]
    salt_g_per_l : float
        Salt dissolved, more than 0. [g/L]

    Returns
    -------
    float
        Share of the salt that is sulfur dioxide.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range, or more sulfur dioxide was found than salt dissolved.

    Notes
    -----
    By definition. Powder weakens in air and a solution loses strength in a week, so the strength is data of
    a lot.

    References
    ----------
    .. [1] Definition of the strength of a salt, exact.
    """
    salt = positive("salt in the solution", salt_g_per_l, "g/L")
    return in_range("SO2 found", found_so2_g_per_l, 0.0, salt, "g/L") / salt


def round_to_step(mass_g: float, step_g: float, rounding: Rounding = Rounding.NEAREST) -> float:
    """Return a mass that a balance can show.

    Parameters
    ----------
    mass_g : float
        Not negative. [g]
    step_g : float
        Smallest step of the balance, more than 0. [g]
    rounding : Rounding
        To the nearest step, halves up, or down.

    Returns
    -------
    float
        A whole number of steps. [g]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    Counted in decimal, so that 0.3 g is three steps of 0.1 g. Definition.

    References
    ----------
    .. [1] Definition of rounding, exact.
    """
    mass = Decimal(repr(not_negative("mass", mass_g, "g")))
    step = Decimal(repr(positive("step of the balance", step_g, "g")))
    mode = ROUND_DOWN if rounding is Rounding.DOWN else ROUND_HALF_UP
    return float((mass / step).to_integral_value(mode) * step)


def _share(so2_share: float) -> float:
    return in_range("share of SO2", positive("share of SO2", so2_share), 0.0, 1.0)

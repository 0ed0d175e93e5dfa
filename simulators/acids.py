"""The pH of a wine-like mixture of acids, from the balance of its charges.

Not simulated: ethanol's shift of the constants, the temperature's shift of the constants, carbon dioxide,
amino acids, sulfites, ion pairs, bitartrate that falls out.
"""

import math
from dataclasses import dataclass
from typing import Final

POTASSIUM_G_PER_MOL: Final = 39.098  # [g/mol], IUPAC 2021 abridged
PK_WATER: Final = 13.995  # [1], 25 °C, infinite dilution
DEBYE_HUECKEL_A: Final = 0.509  # [(kg/mol)^0.5], water at 25 °C
DAVIES: Final = 0.3  # [1], coefficient of the linear term, Davies 1962
SETTLED_PH: Final = 1e-9  # [pH], change from one round to the next at which the balance is found
PH_RANGE: Final = (0.0, 14.0)  # [pH], within which the balance is sought


@dataclass(frozen=True, slots=True)
class Acid:
    """An acid and its dissociation constants at infinite dilution and 25 °C."""

    molar_mass_g: float
    pk: tuple[float, ...]


# Constants at 25 °C after the tables of dissociation constants of organic acids in the CRC Handbook of
# Chemistry and Physics, 97th edition, 2016; molar masses [g/mol] from the IUPAC 2021 abridged atomic
# weights.
TARTARIC: Final = Acid(150.086, (2.98, 4.34))
MALIC: Final = Acid(134.087, (3.40, 5.11))
LACTIC: Final = Acid(90.078, (3.86,))
ACETIC: Final = Acid(60.052, (4.756,))
SUCCINIC: Final = Acid(118.088, (4.21, 5.64))


@dataclass(frozen=True, slots=True)
class Wine:
    """What in a wine sets its pH. [g/L]"""

    tartaric_g_l: float
    malic_g_l: float
    lactic_g_l: float
    acetic_g_l: float
    succinic_g_l: float
    potassium_g_l: float

    def acids(self) -> tuple[tuple[Acid, float], ...]:
        """Return each acid with its concentration. [mol/L]"""
        grams = (
            (TARTARIC, self.tartaric_g_l),
            (MALIC, self.malic_g_l),
            (LACTIC, self.lactic_g_l),
            (ACETIC, self.acetic_g_l),
            (SUCCINIC, self.succinic_g_l),
        )
        return tuple((acid, g_l / acid.molar_mass_g) for acid, g_l in grams)


def davies_log_gamma(charge: int, ionic_strength_mol_l: float) -> float:
    """Return log10 of the activity coefficient of an ion by the equation of Davies (1962)."""
    root = math.sqrt(ionic_strength_mol_l)
    term = root / (1.0 + root) - DAVIES * ionic_strength_mol_l
    return -DEBYE_HUECKEL_A * charge * charge * term


def species_mol_l(acid: Acid, total_mol_l: float, ph: float, ionic_strength_mol_l: float) -> list[float]:
    """Return the concentrations of an acid's forms, from uncharged to bare. [mol/L]"""
    weights = [1.0]
    exponent = 0.0
    for charge, pk in enumerate(acid.pk, start=1):
        exponent += ph - pk
        weights.append(math.pow(10.0, exponent - davies_log_gamma(charge, ionic_strength_mol_l)))
    whole = sum(weights)
    return [total_mol_l * weight / whole for weight in weights]


def charge_residual_mol_l(wine: Wine, ph: float, ionic_strength_mol_l: float) -> float:
    """Return positive minus negative charge at a given pH; it falls as pH rises. [mol/L]"""
    potassium_mol_l = wine.potassium_g_l / POTASSIUM_G_PER_MOL
    return potassium_mol_l - _negative_mol_l(wine, ph, ionic_strength_mol_l)


def ionic_strength(wine: Wine, ph: float, ionic_strength_mol_l: float) -> float:
    """Return the ionic strength of the mixture, its forms being spread as at the given one. [mol/L]"""
    twice = wine.potassium_g_l / POTASSIUM_G_PER_MOL + math.pow(10.0, -ph) + math.pow(10.0, ph - PK_WATER)
    for acid, total_mol_l in wine.acids():
        forms = species_mol_l(acid, total_mol_l, ph, ionic_strength_mol_l)
        twice += sum(charge * charge * form for charge, form in enumerate(forms))
    return 0.5 * twice


def wine_ph(wine: Wine, *, ideal: bool = False) -> float:
    """Return the pH at which the charges balance.

    Parameters
    ----------
    wine : Wine
        The mixture, at 25 °C.
    ideal : bool
        True leaves the activity coefficients at one.

    Returns
    -------
    float
        Minus log10 of the activity of H+. [1]
    """
    strength_mol_l = 0.0
    ph = _balanced_ph(wine, strength_mol_l)
    for _ in range(0 if ideal else 12):  # the strength settles to 1e-9 mol/L within eight rounds
        strength_mol_l = ionic_strength(wine, ph, strength_mol_l)
        before, ph = ph, _balanced_ph(wine, strength_mol_l)
        if abs(ph - before) < SETTLED_PH:
            break
    return ph


def potassium_for_ph(wine: Wine, ph: float) -> float:
    """Return the potassium that gives the mixture this pH, whatever potassium it names. [g/L]

    Raises
    ------
    ValueError
        If the acids alone already lie above that pH, so that no potassium gives it.
    """
    potassium_g_l = 0.0
    for _ in range(30):
        mixture = _with_potassium(wine, potassium_g_l)
        strength_mol_l = _settled_strength(mixture, ph)
        potassium_g_l = _negative_mol_l(mixture, ph, strength_mol_l) * POTASSIUM_G_PER_MOL
        if potassium_g_l < 0:
            raise ValueError(f"pH {ph:g} is below that of the acids alone, {wine_ph(mixture):.2f}")
    return potassium_g_l


def _with_potassium(wine: Wine, potassium_g_l: float) -> Wine:
    return Wine(
        wine.tartaric_g_l, wine.malic_g_l, wine.lactic_g_l, wine.acetic_g_l, wine.succinic_g_l, potassium_g_l
    )


def _settled_strength(wine: Wine, ph: float) -> float:
    strength_mol_l = 0.0
    for _ in range(12):
        strength_mol_l = ionic_strength(wine, ph, strength_mol_l)
    return strength_mol_l


def _negative_mol_l(wine: Wine, ph: float, strength_mol_l: float) -> float:
    """Return the negative charge less that of the protons. [mol/L]"""
    gamma = math.pow(10.0, davies_log_gamma(1, strength_mol_l))
    negative = (math.pow(10.0, ph - PK_WATER) - math.pow(10.0, -ph)) / gamma
    for acid, total_mol_l in wine.acids():
        forms = species_mol_l(acid, total_mol_l, ph, strength_mol_l)
        negative += sum(charge * form for charge, form in enumerate(forms))
    return negative


def _balanced_ph(wine: Wine, strength_mol_l: float) -> float:
    low, high = PH_RANGE
    for _ in range(44):  # halves 14 pH units down to 1e-12
        middle = 0.5 * (low + high)
        if charge_residual_mol_l(wine, middle, strength_mol_l) > 0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)

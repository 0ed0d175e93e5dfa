"""What happens when iodine meets the sulfur dioxide of a wine, and what two platinum pins see of it.

Iodine reacts with sulfur dioxide one to one, as fast as it is stirred in:

    SO2 + I2 + 2 H2O -> H2SO4 + 2 HI

What the pins (kept some tens of millivolts apart) conduct is carried by iodine, free or bound in triiodide,
and by the iodide beside it; iodide is there in plenty, so the scarcer iodine sets the current.

Not simulated: ascorbic acid and copper, pigment that hides or frees sulfur dioxide, the slow release of bound
sulfur dioxide while free is titrated, loss of gas from the open flask, temperature.
"""

import math
from dataclasses import dataclass
from typing import Final

SO2_G_PER_MOL: Final = 64.058  # [g/mol], IUPAC 2021 abridged: S 32.06, O 15.999
TRIIODIDE_L_PER_MOL: Final = 710.0  # [L/mol], I2 + I- = I3-, 25 °C; published values lie between 698 and 725
TRIIODIDE_SHARE: Final = (
    0.8  # [1], what a triiodide carries to a pin beside a smaller, faster iodine molecule
)
PIN_NA_PER_MOL_L: Final = 1.0e8  # [nA L/mol], of these (invented) pins
PIN_LIMIT_NA: Final = 9_999.0  # [nA], where the amplifier ends
STIRRING_S: Final = 0.6  # [s], for a drop to lose all but 1/e of itself in the flask
PLUME_SHARE: Final = 0.15  # [1], of a drop's iodine that passes the pins before it is stirred in
PLUME_SCARCE_MOL: Final = 3.0e-6  # [mol], sulfur dioxide at which a drop begins to survive as far as the pins
PHENOL_PER_S: Final = 0.0015  # [1/s], share of spare iodine that the wine's phenols eat


@dataclass(slots=True)
class Flask:
    """An aliquot of wine with acid, being titrated."""

    so2_mol: float
    volume_ml: float
    titrant_mol_l: float
    """True strength of the titrant, as I2. [mol/L]"""
    titrant_iodide_mol_l: float = 0.04
    drop_mol: float = 0.0
    """Iodine dosed but not stirred in yet. [mol]"""
    iodine_mol: float = 0.0
    """Iodine to spare, I2 and I3- together. [mol]"""
    iodide_mol: float = 0.0

    def dose(self, volume_ml: float) -> None:
        """Add titrant. [mL]"""
        self.volume_ml += volume_ml
        self.drop_mol += volume_ml * 1e-3 * self.titrant_mol_l
        self.iodide_mol += volume_ml * 1e-3 * self.titrant_iodide_mol_l

    def stir(self, time_s: float) -> None:
        """Let drops mix in and react, and phenols eat at what is to spare. [s]"""
        mixed_mol = self.drop_mol * -math.expm1(-time_s / STIRRING_S)
        self.drop_mol -= mixed_mol
        reacted_mol = min(mixed_mol + self.iodine_mol, self.so2_mol)
        self.so2_mol -= reacted_mol
        self.iodide_mol += 2.0 * reacted_mol
        self.iodine_mol = (self.iodine_mol + mixed_mol - reacted_mol) * math.exp(-PHENOL_PER_S * time_s)

    def pin_current_na(self) -> float:
        """Return the current between the pins, without noise and lag. [nA]"""
        scarcity = math.exp(-self.so2_mol / PLUME_SCARCE_MOL)
        seen_mol = self.iodine_mol + PLUME_SHARE * scarcity * self.drop_mol
        litres = self.volume_ml * 1e-3
        free, bound = split_iodine(seen_mol / litres, self.iodide_mol / litres)
        return min(PIN_LIMIT_NA, PIN_NA_PER_MOL_L * (free + TRIIODIDE_SHARE * bound))


def split_iodine(iodine_mol_l: float, iodide_mol_l: float) -> tuple[float, float]:
    """Return how iodine divides into I2 and I3-, from the mass balances of iodine and iodide.

    Parameters
    ----------
    iodine_mol_l, iodide_mol_l : float
        Total iodine (I2 and I3-) and total iodide (I- and I3-), 0 or more. [mol/L]

    Returns
    -------
    tuple of float
        Free iodine and triiodide. [mol/L]

    Notes
    -----
    With x the triiodide, ``x = K (iodine - x) (iodide - x)``; the smaller root, written so that nothing
    cancels.
    """
    half_b = 0.5 * (iodine_mol_l + iodide_mol_l + 1.0 / TRIIODIDE_L_PER_MOL)
    product = iodine_mol_l * iodide_mol_l
    bound = product / (half_b + math.sqrt(half_b * half_b - product))
    return iodine_mol_l - bound, bound


def so2_mol(concentration_mg_l: float, aliquot_ml: float) -> float:
    """Return the amount of sulfur dioxide in an aliquot; concentration [mg/L], volume [mL], amount [mol]."""
    return concentration_mg_l * 1e-3 / SO2_G_PER_MOL * aliquot_ml * 1e-3

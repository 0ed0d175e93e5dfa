"""The truth about the wines of an invented cellar, Otterquill, and the samples that are drawn from them.

Every figure here is made up.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count, cycle
from random import Random
from typing import Final

from simulators.acids import LACTIC, MALIC, Wine, potassium_for_ph
from simulators.noise import stream

FIRST_SAMPLE: Final = 1001
LOT_SD_MG_L: Final = 0.3  # [mg/L], of true free SO2 from one drawing of a lot to the next


@dataclass(frozen=True, slots=True)
class Lot:
    """A wine in the cellar as it truly is."""

    code: str
    free_mg_l: float
    """Free sulfur dioxide. [mg/L]"""
    total_mg_l: float
    """Total sulfur dioxide. [mg/L]"""
    ph: float
    tartaric_g_l: float
    malic_g_l: float
    malic_at_start_g_l: float
    is_red: bool = False

    def wine(self) -> Wine:
        """Return the acids of the lot, with the potassium that gives its pH."""
        lactic_g_l = (self.malic_at_start_g_l - self.malic_g_l) / MALIC.molar_mass_g * LACTIC.molar_mass_g
        acids = Wine(self.tartaric_g_l, self.malic_g_l, lactic_g_l, 0.4, 0.6, 0.0)
        return replace(acids, potassium_g_l=potassium_for_ph(acids, self.ph))


@dataclass(frozen=True, slots=True)
class Sample:
    """A bottle on the bench: its id and the truth about what is in it."""

    id: str
    lot: str
    free_mg_l: float
    total_mg_l: float
    is_red: bool = False


LOTS: Final = (
    Lot("25-RS-01", 21.2, 54.8, 3.24, 3.6, 2.40, 2.4),
    Lot("25-RI-01", 22.8, 62.0, 3.12, 3.9, 3.00, 3.0),
    Lot("25-PN-01", 26.5, 57.7, 3.67, 2.6, 0.02, 2.6, is_red=True),
    Lot("24-ME-02", 31.2, 76.5, 3.62, 2.4, 0.10, 2.4, is_red=True),
    Lot("25-CH-01", 1.9, 8.4, 3.59, 2.8, 0.09, 3.1),
    Lot("24-CH-02", 33.3, 190.4, 3.52, 2.7, 0.10, 2.9),
    Lot("25-TP-01", 16.1, 66.6, 3.40, 3.0, 0.10, 2.5),
)


def otterquill(seed: int) -> Iterator[Sample]:
    """Yield samples without end, lot after lot, numbered from W-1001."""
    for number, lot in zip(count(FIRST_SAMPLE), cycle(LOTS), strict=False):
        yield _drawn(f"W-{number}", lot, stream(seed, f"sample/{number}"))


def _drawn(sample_id: str, lot: Lot, random: Random) -> Sample:
    shift_mg_l = max(random.gauss(0.0, LOT_SD_MG_L), -lot.free_mg_l)
    return Sample(sample_id, lot.code, lot.free_mg_l + shift_mg_l, lot.total_mg_l + shift_mg_l, lot.is_red)

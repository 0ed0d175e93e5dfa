"""Titration curves whose truth is known: closed-form charge balance, no formula of the program."""

from bisect import bisect_left
from dataclasses import dataclass
from functools import cached_property
from random import Random

KW = 1e-14  # ion product of water at 25 °C, rounded


@dataclass(frozen=True)
class Acid:
    """A weak acid: total concentration in the flask [mol/L] and its pK, first proton first."""

    mol_per_l: float
    pks: tuple[float, ...]

    def charge(self, h: float) -> float:
        """Return the mean negative charge of one molecule at an activity of H+."""
        terms = [1.0]
        for pk in self.pks:
            terms.append(terms[-1] * 10**-pk / h)
        return sum(i * term for i, term in enumerate(terms)) / sum(terms)


@dataclass(frozen=True)
class Flask:
    """What is titrated: weak acids, strong base as potassium, a volume; titrant a strong base."""

    start_ml: float
    acids: tuple[Acid, ...]
    base_mol_per_l: float
    """Strong cations that are there already; negative for a strong acid. [mol/L]"""
    titrant_mol_per_l: float

    def volume_at(self, ph: float) -> float:
        """Return the titrant that brings the flask to a pH: explicit, so exact. [mL]"""
        h = 10**-ph
        free = h - KW / h
        anions = sum(acid.mol_per_l * acid.charge(h) for acid in self.acids)
        return self.start_ml * (anions - self.base_mol_per_l - free) / (self.titrant_mol_per_l + free)

    @property
    def equivalence_ml(self) -> float:
        """Return the titrant that takes every proton: stoichiometry. [mL]"""
        protons = sum(acid.mol_per_l * len(acid.pks) for acid in self.acids)
        return self.start_ml * (protons - self.base_mol_per_l) / self.titrant_mol_per_l

    @cached_property
    def _table(self) -> tuple[list[float], list[float]]:
        phs = [0.5 + i * 0.002 for i in range(6251)]
        return [self.volume_at(ph) for ph in phs], phs

    def ph_at(self, volume_ml: float) -> float:
        """Return the pH at a volume, on straight lines between rows 0.002 pH apart: within 1e-5 pH."""
        volumes, phs = self._table
        i = bisect_left(volumes, volume_ml)
        share = (volume_ml - volumes[i - 1]) / (volumes[i] - volumes[i - 1])
        return phs[i - 1] + share * (phs[i] - phs[i - 1])


WINE = Flask(
    start_ml=25.0,
    acids=(
        Acid(3.5 / 150.086, (3.04, 4.37)),  # tartaric acid
        Acid(2.0 / 134.087, (3.40, 5.11)),  # malic acid
        Acid(0.5 / 90.078, (3.86,)),  # lactic acid
        Acid(0.6 / 118.088, (4.21, 5.64)),  # succinic acid
        Acid(0.4 / 60.052, (4.76,)),  # acetic acid
    ),
    base_mol_per_l=1.0 / 39.0983,  # potassium
    titrant_mol_per_l=0.1,
)
STRONG_ACID = Flask(50.0, (), -0.1, 0.2)
PHOSPHORIC_ACID = Flask(50.0, (Acid(0.02, (2.15, 7.20, 12.35)),), 0.0, 0.1)


def read(
    flask: Flask,
    step_ml: float,
    *,
    phase: float = 0.0,
    end_ml: float,
    noise: float = 0.0,
    drift: float = 0.0,
    seed: int = 1,
) -> tuple[list[float], list[float]]:
    """Return volumes and pH as an instrument reads them: even steps, noise, a drift over the whole run."""
    random = Random(seed)
    count = int((end_ml - phase * step_ml) / step_ml) + 1
    volumes = [(phase + i) * step_ml for i in range(count)]
    return volumes, [flask.ph_at(v) + drift * v / end_ml + noise * random.gauss(0, 1) for v in volumes]

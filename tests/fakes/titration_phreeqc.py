"""A second voice for titration curves: PHREEQC with a small database of our own.

Acids are elements of made-up names, so that no redox reaction can eat them. An extreme ion size makes every
activity coefficient one.
"""

from typing import Any

from tests.fakes.titration_curves import Flask

_HEAD = """
SOLUTION_MASTER_SPECIES
H H+ -1.0 H 1.008
H(0) H2 0 H
H(1) H+ -1.0 0
E e- 0 0.0 0
O H2O 0 O 16.0
O(0) O2 0 O
O(-2) H2O 0 0
Alkalinity Zz- 1.0 Zz 1.0
K K+ 0 K 39.1
Cl Cl- 0 Cl 35.45
"""
_BASIC = """
SOLUTION_SPECIES
H+ = H+
  -gamma 1e12 0
e- = e-
H2O = H2O
K+ = K+
  -gamma 1e12 0
Cl- = Cl-
  -gamma 1e12 0
Zz- = Zz-
  -gamma 1e12 0
H2O = OH- + H+
  log_k -14.0
  -gamma 1e12 0
2 H2O = O2 + 4 H+ + 4 e-
  log_k -86.08
2 H+ + 2 e- = H2
  log_k -3.15
"""


def ph_at(flask: Flask, volumes_ml: list[float]) -> list[float]:
    """Return the pH of a flask at each volume of titrant, as PHREEQC finds it."""
    from phreeqpython.viphreeqc import VIPhreeqc

    engine: Any = VIPhreeqc()
    engine.load_database_string(_database(flask))
    found = []
    for number, volume in enumerate(volumes_ml):
        engine.run_string(_solution(flask, volume, number))
        found.append(float(engine.get_ph(number)))
    return found


def _database(flask: Flask) -> str:
    masters, species = ["Zz Zz- 0 Zz 1.0"], []
    for acid, name in zip(flask.acids, _names(flask), strict=True):
        protons = len(acid.pks)
        anion = f"{name}-{protons}"
        masters.append(f"{name} {anion} 0 {name} 100")
        species.append(f"{anion} = {anion}\n  -gamma 1e12 0")
        for bound in range(1, protons + 1):
            charge = protons - bound
            log_k = sum(acid.pks[charge:])
            form = f"H{bound}{name}" + (f"-{charge}" if charge else "")
            gamma = "  -gamma 1e12 0" if charge else "  -gamma 0 0"
            species.append(f"{anion} + {bound} H+ = {form}\n  log_k {log_k}\n{gamma}")
    return "\n".join([_HEAD, *masters, _BASIC, *species, "END\n"])


def _names(flask: Flask) -> list[str]:
    return [f"A{'abcdefgh'[i]}" for i in range(len(flask.acids))]


def _solution(flask: Flask, volume_ml: float, number: int) -> str:
    total_ml = flask.start_ml + volume_ml
    diluted = flask.start_ml / total_ml
    base = flask.base_mol_per_l * diluted + flask.titrant_mol_per_l * volume_ml / total_ml
    lines = [f"SOLUTION {number}", "-units mol/kgw", "pH 7 charge", f"K {max(base, 0.0) + 0.01:.12g}"]
    lines.append(f"Cl {0.01 - min(base, 0.0):.12g}")
    lines += [f"{n} {a.mol_per_l * diluted:.12g}" for a, n in zip(flask.acids, _names(flask), strict=True)]
    return "\n".join([*lines, f"SAVE SOLUTION {number}", "END\n"])

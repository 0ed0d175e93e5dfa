"""Published examples of uncertainty."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from evaluate.standard_uncertainty import combined_u, u_from_expanded, u_from_rectangle, u_from_triangle
from evaluate.sulfur_dioxide import so2_by_iodine
from evaluate.uncertainty import Budget, Input, propagate
from tundish.selftest.case import Case, NotReproduced, Status

_A2: Final = "Eurachem/CITAC QUAM, example A2: sodium hydroxide by phthalate"
_A2_PARTS: Final = "Eurachem/CITAC QUAM, example A2, worked out from its inputs"
_A3: Final = "Eurachem/CITAC QUAM, example A3: hydrochloric acid"
_SCHOOL: Final = "school exercise, mediatheque.accesmad.org 57295: 1.3 % in quadrature"
_CERTIFICATE: Final = "phthalate reference material: 0.99970 with U = 0.00070, k = 2"

_A2_INPUTS: Final = {
    "rep": Input(1.0, 0.0005),
    "mass_g": Input(0.3888, 0.00013),
    "purity": Input(1.0, 0.00029),
    "molar_mass": Input(204.2212, 0.0038),
    "volume_ml": Input(18.64, 0.013),
}
_A2_U: Final = {"volume_ml": 7.1e-5, "rep": 5.1e-5, "mass_g": 3.4e-5, "purity": 3.0e-5, "molar_mass": 0.2e-5}
"""Part of each input in the uncertainty. [mol/L]"""
_A3_INPUTS: Final = {
    "rep": Input(1.0, 0.001),
    "mass_g": Input(0.3888, 0.00013),
    "purity": Input(1.0, 0.00029),
    "second_ml": Input(14.89, 0.015),
    "volume_ml": Input(18.64, 0.016),
    "molar_mass": Input(204.2212, 0.0038),
    "acid_ml": Input(15.0, 0.011),
}
_SCHOOL_INPUTS: Final = {
    "titre_ml": Input(6.28, 0.05),
    "iodine_mol_per_l": Input(0.0100, 0.0001),
    "sample_ml": Input(20.00, 0.05),
}


def cases() -> Iterator[Case]:
    """Yield every published example of uncertainty."""
    published, computed = Status.PUBLISHED, Status.COMPUTED
    yield Case(
        "quam.a2/value", "sodium hydroxide [mol/L]", _A2, published, 0.10214, 5e-6, lambda: _a2().value
    )
    yield Case(
        "quam.a2/u", "its standard uncertainty [mol/L]", _A2, published, 0.00010, 5e-6, lambda: _a2().u
    )
    what = "its relative standard uncertainty [1]"
    yield Case("quam.a2/relative", what, _A2, published, 0.00097, 2e-5, lambda: _a2().relative_u)
    for name, u in _A2_U.items():
        what = f"part of {name} in the uncertainty [mol/L]"
        yield Case(f"quam.a2_parts/{name}", what, _A2_PARTS, computed, u, 0.06e-5, partial(_a2_part, name))
    yield Case(
        "quam.a3/value", "hydrochloric acid [mol/L]", _A3, published, 0.10139, 5e-6, lambda: _a3().value
    )
    yield from _parts_of_a2()
    what = "SO2 of the exercise [mg/L]"
    yield Case("so2.exercise/value", what, _SCHOOL, computed, 201.3, 0.2, lambda: _school().value)
    what = "its relative half width [%]"
    yield Case("so2.exercise/u", what, _SCHOOL, computed, 1.3, 0.05, lambda: 100 * _school().relative_u)


def not_reproduced() -> Iterator[NotReproduced]:
    """Yield the printed uncertainty that its own inputs do not give."""
    reason = "the inputs as printed combine to 0.00019"
    yield NotReproduced("quam.a3/u", _A3, 0.00016, _a3().u, reason)


def _parts_of_a2() -> Iterator[Case]:
    what, find = "u of the purity within 0.0005 [1]", partial(u_from_rectangle, 0.0005)
    yield Case("quam.a2_inputs/purity", what, _A2, Status.PUBLISHED, 0.00029, 5e-6, find)
    what, find = "u of the burette within 0.03 mL [mL]", partial(u_from_triangle, 0.03)
    yield Case("quam.a2_inputs/burette", what, _A2, Status.MEMORY, 0.012, 5e-4, find)
    what, find = "u of the volume from burette and temperature [mL]", partial(combined_u, 0.012, 0.006)
    yield Case("quam.a2_inputs/volume", what, _A2, Status.PUBLISHED, 0.013, 5e-4, find)
    what, find = "u of the purity of a certificate [1]", partial(u_from_expanded, 0.00070, 2.0)
    yield Case("quam.certificate", what, _CERTIFICATE, Status.COMPUTED, 0.00035, 1e-9, find)


def _naoh(rep: float, mass_g: float, purity: float, molar_mass: float, volume_ml: float) -> float:
    return 1000 * rep * mass_g * purity / (molar_mass * volume_ml)


def _acid(second_ml: float, acid_ml: float, **phthalate: float) -> float:
    return _naoh(**phthalate) * second_ml / acid_ml


def _a2() -> Budget:
    return propagate(_naoh, _A2_INPUTS)


def _a2_part(name: str) -> float:
    return _a2().contributions[name].u


def _a3() -> Budget:
    return propagate(_acid, _A3_INPUTS)


def _school() -> Budget:
    return propagate(so2_by_iodine, _SCHOOL_INPUTS)

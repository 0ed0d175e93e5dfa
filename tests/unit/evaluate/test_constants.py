import math
import re

import pytest
import scipy.constants

from evaluate import constants
from tundish.selftest.tables import rows

# IUPAC 2021 abridged standard atomic weights; K and I from the unabridged table.
ATOMIC_WEIGHTS = {
    "C": 12.011,
    "H": 1.008,
    "N": 14.007,
    "O": 15.999,
    "Na": 22.990,
    "S": 32.06,
    "K": 39.0983,
    "I": 126.90447,
}


def mass_of(formula: str) -> float:
    parts = re.findall(r"([A-Z][a-z]?)(\d*)", formula)
    return sum(ATOMIC_WEIGHTS[element] * int(count or 1) for element, count in parts)


@pytest.mark.parametrize(
    ("name", "formula"),
    [
        ("SULFUR_DIOXIDE", "SO2"),
        ("IODINE", "I2"),
        ("POTASSIUM_IODATE", "KIO3"),
        ("SODIUM_THIOSULFATE", "Na2S2O3"),
        ("POTASSIUM_HYDROGEN_PHTHALATE", "C8H5KO4"),
        ("BENZOIC_ACID", "C7H6O2"),
        ("SODIUM_CARBONATE", "Na2CO3"),
        ("POTASSIUM_METABISULFITE", "K2S2O5"),
        ("SODIUM_METABISULFITE", "Na2S2O5"),
        ("TARTARIC_ACID", "C4H6O6"),
        ("MALIC_ACID", "C4H6O5"),
        ("CITRIC_ACID", "C6H8O7"),
        ("LACTIC_ACID", "C3H6O3"),
        ("SUCCINIC_ACID", "C4H6O4"),
        ("ACETIC_ACID", "C2H4O2"),
        ("SORBIC_ACID", "C6H8O2"),
        ("SULFURIC_ACID", "H2SO4"),
        ("NITROGEN", "N"),
        ("ETHANOL", "C2H6O"),
    ],
)
def test_a_molar_mass_is_the_sum_of_its_atoms(name: str, formula: str) -> None:
    assert getattr(constants, f"{name}_G_PER_MOL") == pytest.approx(mass_of(formula), rel=1e-12)


def test_constants_of_nature_agree_with_codata() -> None:
    assert pytest.approx(scipy.constants.R, rel=1e-15) == constants.GAS_CONSTANT_J_PER_MOL_K
    faraday = scipy.constants.e * scipy.constants.N_A
    assert pytest.approx(faraday, rel=1e-15) == constants.FARADAY_C_PER_MOL
    assert scipy.constants.zero_Celsius == constants.ZERO_CELSIUS_K
    assert math.log(10) == constants.LN_10


def test_water_at_20_degrees_agrees_with_the_equation_of_state() -> None:
    # Air-free water of the older tables is 0.006 kg/m3 lighter than IAPWS-95 has it.
    table = rows("volumes/water.csv")
    (iapws,) = [float(row["density_iapws95_kg_m3"]) for row in table if row["temperature_c"] == "20.0"]
    assert pytest.approx(iapws, abs=0.007) == constants.WATER_AT_20_C_KG_PER_M3

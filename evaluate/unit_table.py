"""The registry of units and quantities as a table; `evaluate.units` looks things up in it and converts."""

from fractions import Fraction
from typing import Final, NamedTuple

from evaluate.constants import (
    ACETIC_ACID_G_PER_MOL,
    SULFURIC_ACID_G_PER_MOL,
    TARTARIC_ACID_G_PER_MOL,
    WATER_AT_20_C_KG_PER_M3,
)


class Unit(NamedTuple):
    """A unit of measure. ``base = value * factor + offset`` in the base unit of its dimension."""

    code: str
    dimension: str
    factor: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)
    spellings: tuple[str, ...] = ()
    """Other ways instruments write it; compared without regard to case and inner blanks."""


class Quantity(NamedTuple):
    """Something that is measured, with the unit we keep it in."""

    code: str
    name: str
    unit: str
    """Code of the unit that readings are normalised to."""
    end_point: str | None = None
    """Where a titration ends, when that is part of what the number means."""
    extra_units: tuple[str, ...] = ()
    """Units of another dimension which the trade uses for the same number of this quantity."""
    basis: str | None = None
    """The substance that the number is expressed as, when the method does not tell substances apart."""


def _unit(code: str, dimension: str, factor: str = "1", *spellings: str, offset: str = "0") -> Unit:
    return Unit(code, dimension, Fraction(factor), Fraction(offset), spellings)


def _equivalent_mass(g_per_mol: float, protons: int) -> Fraction:
    return Fraction(repr(g_per_mol)) / protons


# The molar mass over the protons that alkali takes up.
TARTARIC_ACID_G_PER_EQ: Final = _equivalent_mass(TARTARIC_ACID_G_PER_MOL, 2)  # [g/eq]; two protons
SULFURIC_ACID_G_PER_EQ: Final = _equivalent_mass(SULFURIC_ACID_G_PER_MOL, 2)  # [g/eq]; two protons
ACETIC_ACID_G_PER_EQ: Final = _equivalent_mass(ACETIC_ACID_G_PER_MOL, 1)  # [g/eq]; one proton

WATER_G_PER_ML: Final = Fraction(repr(WATER_AT_20_C_KG_PER_M3)) / 1000
"""What a relative density 20/20 is relative to; one degree Oechsle is a thousandth more than water. [g/mL]"""

UNITS: Final[tuple[Unit, ...]] = (
    _unit("1", "number"),
    _unit("pH", "ph"),
    _unit("mV", "potential", "1/1000", "millivolt"),
    _unit("V", "potential"),
    _unit("µA", "current", "1/1000000", "uA", "μA"),
    _unit("nA", "current", "1/1000000000"),
    _unit("°C", "temperature", "1", "C", "degC", "deg C", "Cel", "oC"),
    _unit("°F", "temperature", "5/9", "F", "degF", "deg F", offset="-160/9"),
    _unit("s", "time", "1", "sec"),
    _unit("min", "time", "60"),
    _unit("mL", "volume", "1/1000", "ml", "cm3", "cm³"),
    _unit("µL", "volume", "1/1000000", "uL", "μL"),
    _unit("L", "volume", "1", "l", "dm3"),
    _unit("hL", "volume", "100", "hl"),
    _unit("gal_us", "volume", "3.785411784", "US gal", "gal"),  # exact: 231 cubic inches of 25.4 mm
    _unit("g", "mass", "1/1000"),
    _unit("mg", "mass", "1/1000000"),
    _unit("kg", "mass"),
    _unit("mg/L", "mass_concentration", "1/1000", "mg/l", "mg L-1", "mg.L-1"),
    _unit("g/L", "mass_concentration", "1", "g/l", "g L-1"),
    _unit("g/100mL", "mass_concentration", "10", "g/100 mL", "g/dL"),
    _unit("ppm", "parts_per_million", "1"),
    _unit("mol/L", "amount_concentration", "1", "M", "mol/l"),
    _unit("mmol/L", "amount_concentration", "1/1000", "mM", "mmol/l"),
    _unit("N", "normality", "1", "normal"),
    _unit("meq/L", "acidity", "1", "meq/l", "mEq/L"),
    _unit("g/L tartaric", "acidity", str(1000 / TARTARIC_ACID_G_PER_EQ), "g/L tart", "g/L H2T", "g/L TAR"),
    _unit("g/L sulfuric", "acidity", str(1000 / SULFURIC_ACID_G_PER_EQ), "g/L H2SO4"),
    _unit("g/L acetic", "acidity", str(1000 / ACETIC_ACID_G_PER_EQ), "g/L HAc"),
    _unit("mg N/L", "nitrogen_concentration", "1", "mgN/L"),
    _unit("g/mL", "density", "1", "g/cm3", "g/cm³", "kg/L", "g/ml"),
    _unit("kg/m3", "density", "1/1000", "kg/m³"),
    _unit("SG 20/20", "density", str(WATER_G_PER_ML), "SG", "d20/20"),
    _unit(
        "°Oe", "density", str(WATER_G_PER_ML / 1000), "Oe", "Oechsle", "°Oechsle", offset=str(WATER_G_PER_ML)
    ),
    _unit("°Brix", "brix", "1", "Brix", "Bx", "°Bx", "% Brix"),
    _unit("% vol", "alcohol", "1", "%vol", "% v/v", "%v/v", "vol%"),
    _unit("%", "percent"),
    _unit("mV/pH", "electrode_sensitivity", "1", "mV per pH"),
    _unit("NTU", "turbidity"),
    _unit("µS/cm", "conductivity", "1/10000", "uS/cm", "μS/cm"),
    _unit("mS/cm", "conductivity", "1/10"),
)

QUANTITIES: Final[tuple[Quantity, ...]] = (
    Quantity("ph", "pH", "pH", extra_units=("1",)),
    Quantity("potential", "electrode potential", "mV"),
    Quantity("current", "polarisation current", "µA"),
    Quantity("electrode_slope", "electrode slope, share of the ideal one", "%"),
    Quantity("electrode_sensitivity", "electrode slope", "mV/pH"),
    Quantity("electrode_offset", "electrode potential at pH 7", "mV"),
    Quantity("temperature", "temperature", "°C"),
    Quantity("duration", "duration", "s"),
    Quantity("dispensed_volume", "volume dispensed", "mL"),
    Quantity("mass", "mass", "g"),
    Quantity("titrant_strength", "strength of a titrant", "mol/L"),
    Quantity("free_so2", "free sulfur dioxide", "mg/L", extra_units=("ppm",), basis="SO2"),
    Quantity("total_so2", "total sulfur dioxide", "mg/L", extra_units=("ppm",), basis="SO2"),
    Quantity("combined_so2", "combined sulfur dioxide", "mg/L", extra_units=("ppm",), basis="SO2"),
    Quantity("molecular_so2", "molecular sulfur dioxide", "mg/L", extra_units=("ppm",), basis="SO2"),
    Quantity("ta_ph_7_0", "titratable acidity to pH 7.0", "g/L tartaric", "pH 7.0", basis="tartaric acid"),
    Quantity("ta_ph_8_2", "titratable acidity to pH 8.2", "g/L tartaric", "pH 8.2", basis="tartaric acid"),
    Quantity(
        "ta_inflection",
        "titratable acidity to the inflection",
        "g/L tartaric",
        "inflection",
        basis="tartaric acid",
    ),
    Quantity("va", "volatile acidity", "g/L acetic", basis="acetic acid"),
    Quantity("yan_formol", "assimilable nitrogen by formol", "mg N/L", basis="nitrogen"),
    Quantity("malic_acid", "malic acid", "g/L"),
    Quantity("lactic_acid", "lactic acid", "g/L"),
    Quantity("glucose_fructose", "glucose and fructose", "g/L"),
    Quantity("density", "density", "g/mL"),
    Quantity("brix", "soluble solids", "°Brix", basis="sucrose"),
    Quantity("alcohol", "alcoholic strength", "% vol"),
    Quantity("dissolved_oxygen", "dissolved oxygen", "mg/L", extra_units=("ppm",)),
    Quantity("turbidity", "turbidity", "NTU"),
    Quantity("conductivity", "conductivity", "µS/cm"),
)

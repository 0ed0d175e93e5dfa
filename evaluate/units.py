"""The registry of quantities and units: one code, one name, one meaning.

Values travel as `decimal.Decimal` with the code of their unit. A conversion is exact where the definition is
exact (a fraction of integers) and is refused where it would need knowledge that the value does not carry.
"""

from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Final, NamedTuple

from evaluate.constants import ACETIC_ACID_G_PER_MOL, SULFURIC_ACID_G_PER_MOL, TARTARIC_ACID_G_PER_MOL
from evaluate.errors import EvaluateError


class UnitError(EvaluateError):
    """A unit or quantity is unknown, or a conversion does not exist."""


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


# [g/eq]: the molar mass over the protons that alkali takes up.
TARTARIC_ACID_G_PER_EQ: Final = _equivalent_mass(TARTARIC_ACID_G_PER_MOL, 2)
SULFURIC_ACID_G_PER_EQ: Final = _equivalent_mass(SULFURIC_ACID_G_PER_MOL, 2)
ACETIC_ACID_G_PER_EQ: Final = _equivalent_mass(ACETIC_ACID_G_PER_MOL, 1)

_UNITS: Final[tuple[Unit, ...]] = (
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
    _unit("°Brix", "brix", "1", "Brix", "Bx", "°Bx", "% Brix"),
    _unit("% vol", "alcohol", "1", "%vol", "% v/v", "%v/v", "vol%"),
    _unit("%", "percent"),
    _unit("mV/pH", "electrode_sensitivity", "1", "mV per pH"),
    _unit("NTU", "turbidity"),
    _unit("µS/cm", "conductivity", "1/10000", "uS/cm", "μS/cm"),
    _unit("mS/cm", "conductivity", "1/10"),
)

_QUANTITIES: Final[tuple[Quantity, ...]] = (
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


_WHAT_IS_MISSING: Final[dict[frozenset[str], str]] = {
    frozenset({"amount_concentration", "normality"}): (
        "equivalents a mole depend on the reaction: give them to molar_from_normality or normality_from_molar"
    ),
    frozenset({"mass_concentration", "parts_per_million"}): (
        "parts a million by mass need the density: give it to ppm_from_mg_per_l or mg_per_l_from_ppm"
    ),
    frozenset({"brix", "density"}): (
        "it holds for sucrose in water at 20 °C only: ask density_from_brix or brix_from_density for it"
    ),
    frozenset({"mass_concentration", "amount_concentration"}): "it needs the molar mass of the substance",
    frozenset({"mass_concentration", "acidity"}): "name the basis, such as g/L tartaric",
}


def _folded(text: str) -> str:
    return "".join(text.split()).casefold()


_QUANTITY_BY_CODE: Final = {quantity.code: quantity for quantity in _QUANTITIES}
_UNIT_BY_CODE: Final = {unit.code: unit for unit in _UNITS}
_UNIT_BY_SPELLING: Final = {_folded(text): unit for unit in _UNITS for text in (unit.code, *unit.spellings)}


def quantities() -> tuple[Quantity, ...]:
    """Return every quantity of the registry, in its order."""
    return _QUANTITIES


def units() -> tuple[Unit, ...]:
    """Return every unit of the registry, in its order."""
    return _UNITS


def quantity(code: str) -> Quantity:
    """Return the quantity with this code; raise `UnitError` if there is none."""
    try:
        return _QUANTITY_BY_CODE[code]
    except KeyError:
        known = ", ".join(sorted(_QUANTITY_BY_CODE))
        raise UnitError(f"unknown quantity {code!r}; known quantities: {known}") from None


def unit(code: str) -> Unit:
    """Return the unit with exactly this code; raise `UnitError` if there is none."""
    try:
        return _UNIT_BY_CODE[code]
    except KeyError:
        raise UnitError(f"unknown unit {code!r}; known units: {', '.join(_UNIT_BY_CODE)}") from None


def unit_from_text(text: str) -> Unit:
    """Return the unit that an instrument wrote, by code or known spelling; raise `UnitError` if none fits."""
    try:
        return _UNIT_BY_SPELLING[_folded(text)]
    except KeyError:
        raise UnitError(f"no unit is written {text!r}; known units: {', '.join(_UNIT_BY_CODE)}") from None


def fits(quantity_code: str, unit_code: str) -> bool:
    """Tell whether numbers of this quantity may be given in this unit."""
    wanted = quantity(quantity_code)
    given = unit(unit_code)
    return given.code in wanted.extra_units or given.dimension == unit(wanted.unit).dimension


def convert(value: Decimal, from_unit: str, to_unit: str) -> Decimal:
    """Return the value in another unit of the same dimension.

    Parameters
    ----------
    value : Decimal
        Finite. [from_unit]
    from_unit, to_unit : str
        Codes of units of one dimension.

    Returns
    -------
    Decimal
        Exact if the ratio is a finite decimal, else correct to 28 digits. [to_unit]

    Raises
    ------
    UnitError
        If a unit is unknown, the dimensions differ, or the value is not finite.

    Notes
    -----
    ``base = value * factor + offset`` in fractions of integers, on both sides.

    References
    ----------
    .. [1] Definitions of the units, exact; molar masses by IUPAC 2021. Published.
    """
    source, target = unit(from_unit), unit(to_unit)
    if source.dimension != target.dimension:
        raise UnitError(_no_conversion(source, target))
    _must_be_finite(value)
    if source is target:
        return value
    result = (Fraction(value) * source.factor + source.offset - target.offset) / target.factor
    with localcontext() as context:
        context.prec = 28
        return Decimal(result.numerator) / Decimal(result.denominator)


def as_quantity(value: Decimal, from_quantity: str, to_quantity: str) -> Decimal:
    """Return a value of one quantity as a value of another, both in the unit each is kept in.

    Only a quantity itself passes. Quantities that share a unit still differ in what they mean: no figure
    turns a titratable acidity to one end point into that to another, because it depends on the buffering of
    this wine.

    Parameters
    ----------
    value : Decimal
        Finite. [unit of `from_quantity`]
    from_quantity, to_quantity : str
        Codes of quantities.

    Returns
    -------
    Decimal
        The value, unchanged. [unit of `to_quantity`]

    Raises
    ------
    UnitError
        If a quantity is unknown, the value is not finite, or the two quantities are not the same.

    Notes
    -----
    The step from pH 7.0 to pH 8.2 is about 0.05 g/L tartaric for tartaric, malic, lactic, succinic and acetic
    acid in water and is quoted as 0.65 g/L for wine, so a fixed step would be wrong by more than the
    precision of the method. Common practice, no source that was read.

    References
    ----------
    .. [1] Common practice, no source.
    """
    source, target = quantity(from_quantity), quantity(to_quantity)
    _must_be_finite(value)
    if source is target:
        return value
    raise UnitError(_not_the_same(source, target))


def normalise(value: Decimal, quantity_code: str, unit_code: str) -> Decimal:
    """Return the value in the unit that the quantity is kept in.

    Parameters
    ----------
    value : Decimal
        Finite. [unit_code]
    quantity_code, unit_code : str
        Codes of the quantity and of the unit the value came in.

    Returns
    -------
    Decimal
        As `convert` gives it. [unit of the quantity]

    Raises
    ------
    UnitError
        If a code is unknown, the value is not finite, or the quantity is never given in the unit.

    Notes
    -----
    A number in a unit of the trade, such as ppm for sulfur dioxide, is taken as it is.

    References
    ----------
    .. [1] Definitions of the units, exact.
    """
    wanted = quantity(quantity_code)
    if unit_code in wanted.extra_units:
        _must_be_finite(value)
        return value
    if not fits(quantity_code, unit_code):
        raise UnitError(f"{wanted.name} is never given in {unit_code}; it is kept in {wanted.unit}")
    return convert(value, unit_code, wanted.unit)


def _must_be_finite(value: Decimal) -> None:
    if not value.is_finite():
        raise UnitError(f"only a finite number can be converted, not {value}")


def _no_conversion(source: Unit, target: Unit) -> str:
    reason = _WHAT_IS_MISSING.get(frozenset({source.dimension, target.dimension}), "no conversion exists")
    return f"{source.code} is of dimension {source.dimension}, {target.code} of {target.dimension}: {reason}"


def _not_the_same(source: Quantity, target: Quantity) -> str:
    if source.end_point and target.end_point:
        return (
            f"{source.name} is never turned into {target.name}: the step between the two depends on "
            f"what buffers this wine; titrate to {target.end_point} instead"
        )
    return f"{source.name} is not {target.name}: measure it instead"

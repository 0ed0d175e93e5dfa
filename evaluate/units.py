"""The registry of quantities and units: one code, one name, one meaning.

Values travel as `decimal.Decimal` with the code of their unit. A conversion is exact where the definition is
exact (a fraction of integers) and is refused where it would need knowledge that the value does not carry.
"""

from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Final

from evaluate.errors import EvaluateError
from evaluate.unit_table import QUANTITIES, UNITS, Quantity, Unit


class UnitError(EvaluateError):
    """A unit or quantity is unknown, or a conversion does not exist."""


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


_QUANTITY_BY_CODE: Final = {quantity.code: quantity for quantity in QUANTITIES}
_UNIT_BY_CODE: Final = {unit.code: unit for unit in UNITS}
_UNIT_BY_SPELLING: Final = {_folded(text): unit for unit in UNITS for text in (unit.code, *unit.spellings)}


def quantities() -> tuple[Quantity, ...]:
    """Return every quantity of the registry, in its order."""
    return QUANTITIES


def units() -> tuple[Unit, ...]:
    """Return every unit of the registry, in its order."""
    return UNITS


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

"""From a reading as the instrument gave it to a value in the unit its quantity is kept in."""

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Final

from evaluate.units import UnitError, convert, quantity

NOT_A_VALUE: Final = "not_a_value"
UNKNOWN_QUANTITY: Final = "unknown_quantity"
UNIT_DOES_NOT_FIT: Final = "unit_does_not_fit"

PLAIN_WORDS: Final[dict[str, str]] = {
    NOT_A_VALUE: "the instrument gave no number",
    UNKNOWN_QUANTITY: "the quantity is not in the registry of this version",
    UNIT_DOES_NOT_FIT: "the quantity is never given in this unit",
}
"""Why a reading has no normal value."""


@dataclass(frozen=True, slots=True)
class Normal:
    """A value in the unit of its quantity, or why there is none."""

    numeral: str | None
    """Plain decimal numeral with all its digits. [unit]"""
    unit: str | None
    note: str | None = None
    """One of `PLAIN_WORDS`."""


@lru_cache(maxsize=512)
def _way(quantity_code: str, unit_code: str) -> tuple[str | None, str | None]:
    """Return the unit to keep the quantity in, or a note; None and a unit mean: the same number."""
    try:
        wanted = quantity(quantity_code)
    except UnitError:
        return None, UNKNOWN_QUANTITY
    if unit_code == wanted.unit or unit_code in wanted.extra_units:
        return wanted.unit, None
    try:
        convert(Decimal(1), unit_code, wanted.unit)
    except UnitError:
        return None, UNIT_DOES_NOT_FIT
    return wanted.unit, None


def _is_same_number(quantity_code: str, unit_code: str, to_unit: str) -> bool:
    return unit_code == to_unit or unit_code in quantity(quantity_code).extra_units


def normal(quantity_code: str, outcome: str, numeral: str | None, unit_code: str) -> Normal:
    """Return what a reading amounts to in the unit of the registry.

    Parameters
    ----------
    quantity_code, unit_code : str
        Codes of `evaluate.units`, as stored with the reading.
    outcome : str
        Only ``value`` has a normal value: a bound is no measurement.
    numeral : str or None
        The value as a plain decimal numeral. [unit_code]
    """
    if outcome != "value" or numeral is None:
        return Normal(None, None, NOT_A_VALUE)
    to_unit, note = _way(quantity_code, unit_code)
    if to_unit is None:
        return Normal(None, None, note)
    if _is_same_number(quantity_code, unit_code, to_unit):
        return Normal(numeral, to_unit)
    return Normal(f"{convert(Decimal(numeral), unit_code, to_unit):f}", to_unit)

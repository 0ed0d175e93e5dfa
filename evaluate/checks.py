"""Checks that every formula makes on its inputs before it computes."""

import math
from typing import TYPE_CHECKING, Final

from evaluate.errors import OutOfRangeError, TooFewPointsError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

LEAST_PROBABILITY: Final = 0.5  # [1] of an interval; less is no statement about it; our choice
GREATEST_PROBABILITY: Final = 0.9999  # [1] of an interval; farther out no scatter is known well; our choice


def finite(name: str, value: float) -> float:
    """Return the value as a float.

    Raises
    ------
    OutOfRangeError
        If it is not a number or infinite.
    """
    number = float(value)
    if not math.isfinite(number):
        raise OutOfRangeError(f"{name} must be a finite number, not {number}", name=name, value=value)
    return number


def in_range(name: str, value: float, low: float, high: float, unit: str = "") -> float:
    """Return the value as a float, both bounds allowed; an infinite bound stands for none.

    Raises
    ------
    OutOfRangeError
        If it is not finite or lies outside `low` to `high`.
    """
    number = finite(name, value)
    if not low <= number <= high:
        raise _outside(name, number, low, high, unit)
    return number


def interval_probability(value: float) -> float:
    """Return the probability of an interval; raise `OutOfRangeError` outside 0.5 to 0.9999."""
    return in_range("probability", value, LEAST_PROBABILITY, GREATEST_PROBABILITY)


def positive(name: str, value: float, unit: str = "") -> float:
    """Return the value as a float.

    Raises
    ------
    OutOfRangeError
        If it is not finite, zero or negative.
    """
    number = finite(name, value)
    if number <= 0:
        raise OutOfRangeError(
            f"{name} must be more than 0{_spaced(unit)}, not {number:g}", name=name, value=number, low=0.0
        )
    return number


def not_negative(name: str, value: float, unit: str = "") -> float:
    """Return the value as a float; raise `OutOfRangeError` if it is not finite or below zero."""
    return in_range(name, value, 0.0, math.inf, unit)


def enough(name: str, count: int, wanted: int) -> int:
    """Return the count.

    Raises
    ------
    TooFewPointsError
        If it is below the number wanted.
    """
    if count < wanted:
        raise TooFewPointsError(
            f"{name}: {count} given, at least {wanted} are needed", name=name, value=count, low=wanted
        )
    return count


def all_in_range(
    name: str, values: "ArrayLike", low: float, high: float, unit: str = ""
) -> "NDArray[np.float64]":
    """Return the values as an array of floats, any shape, both bounds allowed.

    Raises
    ------
    OutOfRangeError
        If any of them is not finite or lies outside; it names the first such value.
    """
    import numpy as np

    array = np.asarray(values, dtype=np.float64)
    outside = ~((array >= low) & (array <= high) & np.isfinite(array))
    if outside.any():
        in_range(name, float(array[outside][0]), low, high, unit)
    return array


def _outside(name: str, number: float, low: float, high: float, unit: str) -> OutOfRangeError:
    return OutOfRangeError(
        f"{name} must be {_wanted(low, high)}{_spaced(unit)}, not {number:g}",
        name=name,
        value=number,
        low=low,
        high=high,
    )


def _wanted(low: float, high: float) -> str:
    if math.isinf(high):
        return f"at least {low:g}"
    if math.isinf(low):
        return f"at most {high:g}"
    return f"from {low:g} to {high:g}"


def _spaced(unit: str) -> str:
    return f" {unit}" if unit else ""

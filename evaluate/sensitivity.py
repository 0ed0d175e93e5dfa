"""How fast a result changes with one of its inputs, also at the edge of what the formula takes."""

from collections.abc import Callable, Mapping
from typing import Final

from evaluate.checks import finite
from evaluate.errors import EvaluateError, UnknownNameError

STEP: Final = 6e-6  # [1] cube root of the spacing of doubles: rounding and curvature are then alike; textbook


def sensitivity(function: Callable[..., float], values: Mapping[str, float], name: str) -> float:
    r"""Return the partial derivative of a function by one of its inputs.

    Parameters
    ----------
    function : callable
        Takes the inputs by name and returns a number; smooth near the values.
    values : mapping of str to float
        Where to take it. [units of the inputs]
    name : str
        The input.

    Returns
    -------
    float
        Change of the result per unit of the input, good to about nine digits. [unit of the result per unit of
        the input]

    Raises
    ------
    UnknownNameError
        If there is no such input.
    OutOfRangeError
        If the input or the derivative is not finite.
    EvaluateError
        What the function raises at the values, or on both sides of them.

    Notes
    -----
    :math:`(f(x + h) - f(x - h))/2h` with :math:`h = 6 \cdot 10^{-6} |x|`. Where the function refuses one
    side, such as a blank below zero, three points of the other: :math:`(4 f(x + h) - 3 f(x) - f(x + 2h))/2h`.

    References
    ----------
    .. [1] Central and one-sided differences of second order, textbook.
    """
    if name not in values:
        raise UnknownNameError(
            f"there is no input {name!r}; inputs: {', '.join(values)}", name="input", value=name
        )
    here = finite(name, values[name])
    step = STEP * abs(here) or STEP

    def at(place: float) -> float:
        return float(function(**{**values, name: place}))

    return finite(f"sensitivity to {name}", _slope(at, here, step))


def _slope(at: Callable[[float], float], here: float, step: float) -> float:
    try:
        above = at(here + step)
    except EvaluateError:
        return _one_sided(at, here, -step)
    try:
        below = at(here - step)
    except EvaluateError:
        return _one_sided(at, here, step)
    return (above - below) / (2 * step)


def _one_sided(at: Callable[[float], float], here: float, step: float) -> float:
    return (4 * at(here + step) - 3 * at(here) - at(here + 2 * step)) / (2 * step)

"""Standard uncertainties from certificates, tolerances and displays, and of a sum."""

import math

from evaluate.checks import enough, not_negative, positive


def u_from_rectangle(half_width: float) -> float:
    """Return the standard uncertainty of a value that lies anywhere in an interval with equal chance.

    Parameters
    ----------
    half_width : float
        Half the width of the interval, not negative.

    Returns
    -------
    float
        In the unit of the half width.

    Raises
    ------
    OutOfRangeError
        If the half width is not finite or negative.

    Notes
    -----
    a / sqrt 3 [1]_: certificates without more words, digits of a display.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7. Published.
    """
    return not_negative("half width", half_width) / math.sqrt(3)


def u_from_triangle(half_width: float) -> float:
    """Return the standard uncertainty of a value that lies in an interval, more likely near its middle.

    Parameters
    ----------
    half_width : float
        Half the width of the interval, not negative.

    Returns
    -------
    float
        In the unit of the half width.

    Raises
    ------
    OutOfRangeError
        If the half width is not finite or negative.

    Notes
    -----
    a / sqrt 6 [1]_: tolerances of volumetric glass.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.9. Published.
    """
    return not_negative("half width", half_width) / math.sqrt(6)


def u_from_expanded(expanded: float, coverage: float = 2.0) -> float:
    """Return the standard uncertainty from an expanded one, as certificates give it.

    Parameters
    ----------
    expanded : float
        Expanded uncertainty, not negative.
    coverage : float
        Coverage factor the certificate states, more than 0.

    Returns
    -------
    float
        In the unit of `expanded`.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    U / k, by definition.

    References
    ----------
    .. [1] JCGM 100:2008, 6.2.1. Published.
    """
    return not_negative("expanded uncertainty", expanded) / positive("coverage", coverage)


def combined_u(*parts: float) -> float:
    """Return the standard uncertainty of a sum of independent parts.

    Parameters
    ----------
    *parts : float
        Standard uncertainties in one unit, one or more, none negative.

    Returns
    -------
    float
        Root of the sum of squares, in the same unit.

    Raises
    ------
    TooFewPointsError
        If there are no parts.
    OutOfRangeError
        If a part is not finite or negative.

    Notes
    -----
    JCGM 100:2008, equation 11a with sensitivities of one. Published.

    References
    ----------
    .. [1] JCGM 100:2008, equation 11a with sensitivities of one. Published.
    """
    enough("parts of the uncertainty", len(parts), 1)
    return math.hypot(*(not_negative("part of the uncertainty", part) for part in parts))

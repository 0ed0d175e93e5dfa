"""The saturated tartrate solution as a check of a pH meter in the region of wine."""

from itertools import pairwise
from typing import Final, NamedTuple

from evaluate.checks import finite, in_range, positive

TARTRATE_PH: Final = ((25.0, 3.557), (30.0, 3.552), (35.0, 3.549), (40.0, 3.547))
"""[°C] and pH of potassium hydrogen tartrate saturated at 25 °C: NBS pH(S), Bates 1962, and IUPAC 2002.
Recalled; the Chinese scale, read in a reprint, has 3.559, 3.551, 3.547, 3.547."""


class TartrateCheck(NamedTuple):
    """What a meter read in the saturated tartrate solution, against what it should have read."""

    expected_ph: float
    difference_ph: float
    """Read less expected. [pH]"""
    passed: bool


def saturated_tartrate_ph(temperature_c: float) -> float:
    """Return the pH of potassium hydrogen tartrate, saturated at 25 °C.

    Parameters
    ----------
    temperature_c : float
        Temperature of the solution, 25 to 40. [°C]

    Returns
    -------
    float
        The pH, on straight lines between the rows of the table. [pH]

    Raises
    ------
    OutOfRangeError
        If the temperature is not finite or outside the table.

    Notes
    -----
    A solution saturated at another temperature has another pH, so below 25 °C nothing is returned.
    Uncertainty of the recalled table: 0.005, from two scales side by side.

    References
    ----------
    .. [1] NBS pH(S), Bates, J. Res. NBS 66A (1962) 179. Recalled.
    """
    wanted = in_range(
        "temperature of the tartrate solution", temperature_c, TARTRATE_PH[0][0], TARTRATE_PH[-1][0], "°C"
    )
    (left_c, left_ph), (right_c, right_ph) = next(
        pair for pair in pairwise(TARTRATE_PH) if wanted <= pair[1][0]
    )
    return left_ph + (right_ph - left_ph) * (wanted - left_c) / (right_c - left_c)


def check_in_tartrate(read_ph: float, temperature_c: float, *, allowed_ph: float = 0.05) -> TartrateCheck:
    """Tell whether a meter reads the saturated tartrate solution well enough.

    Parameters
    ----------
    read_ph : float
        What the calibrated meter read, 0 to 14. [pH]
    temperature_c : float
        Temperature of the solution, 25 to 40. [°C]
    allowed_ph : float
        Greatest difference allowed, more than 0. [pH]

    Returns
    -------
    TartrateCheck
        Expected pH, difference and whether it is allowed.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    The default of 0.05 is common practice, no source. The solution is made without weighing and lies where
    wines lie, which makes it a good third buffer.

    References
    ----------
    .. [1] The table of `saturated_tartrate_ph`, recalled; the allowance is common practice, no source.
    """
    read = in_range("pH read", finite("pH read", read_ph), 0.0, 14.0, "pH")
    expected = saturated_tartrate_ph(temperature_c)
    difference = read - expected
    return TartrateCheck(expected, difference, abs(difference) <= positive("allowed", allowed_ph, "pH"))

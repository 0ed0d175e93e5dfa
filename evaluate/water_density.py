"""Density of water and of air, as a balance needs them."""

import math
from typing import TYPE_CHECKING, Final

from evaluate.checks import all_in_range, in_range
from evaluate.constants import ZERO_CELSIUS_K

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

# Water: Tanaka et al., Metrologia 38 (2001) 301, equation 1.
A1_C: Final = -3.983035  # °C; Tanaka 2001
A2_C: Final = 301.797  # °C; Tanaka 2001
A3_C2: Final = 522528.9  # °C²; Tanaka 2001
A4_C: Final = 69.34881  # °C; Tanaka 2001
A5_KG_PER_M3: Final = 999.974950  # kg/m³; Tanaka 2001

# Air: simplified CIPM formula as in OIML R 111, annex E; recalled.
AIR_PER_HPA: Final = 0.34848  # kg K/(m³ hPa); OIML R 111, recalled
AIR_PER_HUMIDITY: Final = 0.009  # kg K/(m³ %); OIML R 111, recalled
AIR_HUMIDITY_PER_C: Final = 0.061  # 1/°C; OIML R 111, recalled

STANDARD_PRESSURE_HPA: Final = 1013.25  # hPa; definition of the standard atmosphere
USUAL_HUMIDITY_PCT: Final = 50.0  # %; middle of a laboratory, moves air density by 0.4 % at most


def water_density(temperature_c: "ArrayLike") -> "NDArray[np.float64]":
    r"""Return the density of pure, air-free water at one atmosphere.

    Parameters
    ----------
    temperature_c : array_like of float
        Temperature, 0 to 40, any shape. [°C]

    Returns
    -------
    ndarray of float
        Density, of the same shape. [kg/m³]

    Raises
    ------
    OutOfRangeError
        If a temperature is not finite or outside its range.

    Notes
    -----
    :math:`\rho = a_5 (1 - (t + a_1)^2 (t + a_2) / (a_3 (t + a_4)))` [1]_. Water that stood in air is up to
    0.005 kg/m³ lighter.

    References
    ----------
    .. [1] M. Tanaka, G. Girard, R. Davis, A. Peuto, N. Bignell, Recommended table for the density of water
       between 0 °C and 40 °C based on recent experimental reports, Metrologia 38 (2001) 301. Published.
    """
    t = all_in_range("water temperature", temperature_c, 0.0, 40.0, "°C")
    return A5_KG_PER_M3 * (1 - (t + A1_C) ** 2 * (t + A2_C) / (A3_C2 * (t + A4_C)))


def air_density(
    temperature_c: float,
    pressure_hpa: float = STANDARD_PRESSURE_HPA,
    humidity_pct: float = USUAL_HUMIDITY_PCT,
) -> float:
    r"""Return the density of moist air.

    Parameters
    ----------
    temperature_c : float
        Temperature, 0 to 40. [°C]
    pressure_hpa : float
        Pressure of the place, not reduced to sea level, 600 to 1100. [hPa]
    humidity_pct : float
        Relative humidity, 0 to 100. [%]

    Returns
    -------
    float
        Density. [kg/m³]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    :math:`(0.34848\,p - 0.009\,h\,e^{0.061\,t})/(273.15 + t)` [1]_. The plain gas law for dry air moves a
    buoyancy correction by less than 0.002 %.

    References
    ----------
    .. [1] OIML R 111-1, 2004, annex E, simplified version of the CIPM formula. Recalled.
    """
    t = in_range("air temperature", temperature_c, 0.0, 40.0, "°C")
    p = in_range("air pressure", pressure_hpa, 600.0, 1100.0, "hPa")
    h = in_range("humidity", humidity_pct, 0.0, 100.0, "%")
    return (AIR_PER_HPA * p - AIR_PER_HUMIDITY * h * math.exp(AIR_HUMIDITY_PER_C * t)) / (ZERO_CELSIUS_K + t)

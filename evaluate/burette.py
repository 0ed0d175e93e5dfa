"""What a burette or pump truly delivers: by weighing water, and by titrating a standard."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from evaluate.checks import enough, in_range, positive
from evaluate.series import series
from evaluate.statistics import mean, standard_deviation
from evaluate.water_density import STANDARD_PRESSURE_HPA, USUAL_HUMIDITY_PCT, air_density, water_density

WEIGHTS_KG_PER_M3: Final = 8000.0  # kg/m³; conventional density of balance weights, OIML D 28
REFERENCE_C: Final = 20.0  # °C; temperature for which volumes of glassware are stated, ISO 8655-6
GLASS_EXPANSION_PER_C: Final = 1e-5  # 1/°C; cubic expansion of borosilicate glass, common practice
USUAL_DELIVERIES: Final = 10  # [1]; ISO 8655-6, recalled
KG_PER_M3_IN_G_PER_ML: Final = 1000.0  # [kg/m³ per g/mL]; definition of the units


class BuretteFactor(NamedTuple):
    """What deliveries of a burette showed."""

    factor: float
    """True over displayed volume: multiply a displayed volume by it. [1]"""
    systematic_pct: float
    """Mean delivered less displayed, of displayed. [%]"""
    random_pct: float
    """Standard deviation of the deliveries, of displayed. [%]"""
    n: int
    is_full_check: bool
    """Whether ten deliveries or more stand behind it."""


class PumpFactor(NamedTuple):
    """What titrations of a standard showed of a pump."""

    factor: float
    """True over found: multiply a found concentration, or a volume, by it. [1]"""
    rsd_pct: float
    """Relative standard deviation of what was found. [%]"""
    n: int
    reasons: tuple[str, ...] = ()
    """Why it is not to be used; empty if it is accepted."""

    @property
    def is_accepted(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.reasons


def z_factor(
    temperature_c: float,
    pressure_hpa: float = STANDARD_PRESSURE_HPA,
    humidity_pct: float = USUAL_HUMIDITY_PCT,
) -> float:
    r"""Return the volume of water that a balance shows as one milligram.

    Parameters
    ----------
    temperature_c : float
        Temperature of water and air, 0 to 40. [°C]
    pressure_hpa : float
        Air pressure of the place, 600 to 1100. [hPa]
    humidity_pct : float
        Relative humidity, 0 to 100. [%]

    Returns
    -------
    float
        Volume over apparent mass. [µL/mg, the same as mL/g]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    :math:`Z = (1000/\rho_w)(1 - \rho_a/8000)/(1 - \rho_a/\rho_w)`: water and weights float in air.

    References
    ----------
    .. [1] ISO 8655-6, 2002, annex A, its formula; densities as in `evaluate.water_density`. Computed.
    """
    water = float(water_density(temperature_c))
    air = air_density(temperature_c, pressure_hpa, humidity_pct)
    return KG_PER_M3_IN_G_PER_ML / water * (1 - air / WEIGHTS_KG_PER_M3) / (1 - air / water)


def delivered_volume(
    mass_g: float,
    temperature_c: float,
    pressure_hpa: float = STANDARD_PRESSURE_HPA,
    *,
    expansion_per_c: float = GLASS_EXPANSION_PER_C,
) -> float:
    r"""Return the volume that a weighed delivery of water has at 20 °C.

    Parameters
    ----------
    mass_g : float
        Reading of the balance, more than 0. [g]
    temperature_c : float
        Temperature of the water, 0 to 40. [°C]
    pressure_hpa : float
        Air pressure of the place. [hPa]
    expansion_per_c : float
        Cubic expansion of the burette's cylinder, 0 to 0.001. [1/°C]

    Returns
    -------
    float
        Volume at 20 °C. [mL]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    :math:`V_{20} = m Z (1 - \gamma (t - 20))`.

    References
    ----------
    .. [1] ISO 8655-6, 2002, its formula. Common practice; worked figure computed.
    """
    mass = positive("mass", mass_g, "g")
    expansion = in_range("expansion", expansion_per_c, 0.0, 1e-3, "1/°C")
    return mass * z_factor(temperature_c, pressure_hpa) * (1 - expansion * (temperature_c - REFERENCE_C))


def burette_factor(displayed_ml: float, delivered_ml: Sequence[float]) -> BuretteFactor:
    """Return the factor of a burette from deliveries of one displayed volume.

    Parameters
    ----------
    displayed_ml : float
        What the burette displayed each time, more than 0. [mL]
    delivered_ml : sequence of float
        What came, two or more, each more than 0, shape ``(n,)``; ten make a full check. [mL]

    Returns
    -------
    BuretteFactor
        Factor [1], systematic and random error of displayed [%].

    Raises
    ------
    OutOfRangeError
        If a volume is not finite or not more than 0.
    TooFewPointsError
        If there are fewer than two deliveries.

    Notes
    -----
    Permissible errors are not built in: the standard's table could not be read. Hold the two errors against
    the figures of the burette's own papers.

    References
    ----------
    .. [1] ISO 8655-6, 2002, systematic and random error. Common practice, recalled.
    """
    displayed = positive("displayed volume", displayed_ml, "mL")
    volumes = [positive("delivered volume", v, "mL") for v in series("delivered volume", delivered_ml, 2)]
    average, sd = mean(volumes), standard_deviation(volumes)
    return BuretteFactor(
        factor=average / displayed,
        systematic_pct=100 * (average - displayed) / displayed,
        random_pct=100 * sd / displayed,
        n=len(volumes),
        is_full_check=len(volumes) >= USUAL_DELIVERIES,
    )


def pump_factor(
    true_value: float,
    found: Sequence[float],
    *,
    least_count: int = 3,
    most_rsd_pct: float = 0.5,
    most_change_pct: float = 5.0,
) -> PumpFactor:
    """Return the factor of a pump from titrations of a standard.

    Parameters
    ----------
    true_value : float
        Concentration of the standard by its own papers, more than 0. [mol/L]
    found : sequence of float
        What the titrations gave with factor 1, each more than 0, shape ``(n,)``. [mol/L]
    least_count : int
        Titrations wanted, two or more. [1]
    most_rsd_pct : float
        Allowed relative standard deviation. [%]
    most_change_pct : float
        Allowed departure of the factor from 1; more means a fault and no calibration. [%]

    Returns
    -------
    PumpFactor
        True over the mean found, with the reasons against its use.

    Raises
    ------
    OutOfRangeError
        If a figure is not finite or not more than 0.
    TooFewPointsError
        If fewer than two titrations came.

    Notes
    -----
    The factor takes in the pump, the titrant and the standard together: with a titrant of unknown strength it
    says nothing of the pump.

    References
    ----------
    .. [1] Calibration against a standard. Common practice, no source; both limits are settings.
    """
    true = positive("true value", true_value)
    values = [positive("found value", value) for value in series("found value", found, 2)]
    enough("wanted titrations", least_count, 2)
    rsd_limit, change_limit = positive("rsd limit", most_rsd_pct), positive("change limit", most_change_pct)
    average = mean(values)
    factor, rsd_pct = true / average, 100 * standard_deviation(values) / average
    fails = {
        f"{len(values)} titrations, {least_count} are wanted": len(values) < least_count,
        f"they scatter by {rsd_pct:.2f} %, {rsd_limit:g} % is allowed": rsd_pct > rsd_limit,
        f"{factor:.4f} is further than {change_limit:g} % from 1": 100 * abs(factor - 1) > change_limit,
    }
    return PumpFactor(factor, rsd_pct, len(values), tuple(words for words, failed in fails.items() if failed))

"""A pH electrode: its ideal slope, its calibration by least squares, and pH from potential."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

from evaluate.buffers import CERTIFICATE, BufferValue
from evaluate.checks import all_in_range, enough, finite, in_range
from evaluate.constants import FARADAY_C_PER_MOL, GAS_CONSTANT_J_PER_MOL_K, LN_10, ZERO_CELSIUS_K
from evaluate.curve_line import fit_line
from evaluate.errors import ContradictionError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

MV_PER_V: Final = 1000.0  # [mV/V]; definition of the prefix
ISOPOTENTIAL_PH: Final = 7.0  # pH; where a glass electrode's potential does not move with temperature
MOST_MV: Final = 2000.0  # mV; well beyond any glass electrode, a reading past it is a fault of the input
SAME_TEMPERATURE_C: Final = 2.0  # °C; buffers of one calibration lie within this, common practice


class BufferReading(NamedTuple):
    """The potential that an electrode showed in a buffer."""

    buffer: BufferValue
    mv: float


class Electrode(NamedTuple):
    """A calibrated electrode: ``E = offset - slope_share * k(t) * (pH - 7)``."""

    slope_share: float
    """Slope over the ideal one. [1]"""
    offset_mv: float
    """Potential at pH 7. [mV]"""
    temperature_c: float
    editions: tuple[str, ...]
    """Editions of the buffer values, each once."""
    buffers_ph: tuple[float, ...] = ()
    residuals_ph: tuple[float, ...] = ()
    """pH found less pH of each buffer; two buffers leave none. [pH]"""

    @property
    def slope_pct(self) -> float:
        """Slope in per cent of the ideal one. [%]"""
        return 100 * self.slope_share

    @property
    def slope_mv_per_ph(self) -> float:
        """Slope at the temperature of calibration, as a positive number. [mV/pH]"""
        return self.slope_share * nernst_slope(self.temperature_c)

    @property
    def zero_point_ph(self) -> float:
        """PH at which the potential is zero, at the temperature of calibration."""
        return ISOPOTENTIAL_PH + self.offset_mv / self.slope_mv_per_ph


def nernst_slope(temperature_c: float) -> float:
    r"""Return the ideal slope of a pH electrode at one temperature.

    Parameters
    ----------
    temperature_c : float
        Temperature, 0 to 100. [°C]

    Returns
    -------
    float
        Change of potential per pH unit, as a positive number. [mV/pH]

    Raises
    ------
    OutOfRangeError
        If the temperature is not finite or outside its range.

    Notes
    -----
    :math:`k = \ln(10)\, R T / F`, exact since 2019 but for rounding [1]_.

    Examples
    --------
    >>> round(nernst_slope(25.0), 3)
    59.159

    References
    ----------
    .. [1] CODATA 2022, R and F. Published; USP <791> prints 0.05916 + 0.000198 (t - 25) V, which agrees to
       0.011 mV from 0 to 50 °C.
    """
    kelvin = in_range("temperature", temperature_c, 0.0, 100.0, "°C") + ZERO_CELSIUS_K
    return LN_10 * GAS_CONSTANT_J_PER_MOL_K * kelvin / FARADAY_C_PER_MOL * MV_PER_V


def fit_electrode(readings: Sequence[BufferReading]) -> Electrode:
    """Return the slope and zero of an electrode from its readings in buffers.

    Parameters
    ----------
    readings : sequence of BufferReading
        Two or more, of one edition (certificate values apart), of buffers that differ and whose temperatures
        lie within 2 °C. [pH; mV; °C]

    Returns
    -------
    Electrode
        Slope as share of the ideal one at the mean temperature, potential at pH 7 [mV], residuals [pH].

    Raises
    ------
    TooFewPointsError
        If there are fewer than two readings.
    OutOfRangeError
        If a potential is not finite or beyond 2 V.
    ContradictionError
        If editions are mixed, temperatures differ, or the potential does not fall with pH (buffers swapped,
        probe not in them).
    EvaluateError
        If all buffers have the same pH.

    Notes
    -----
    Least squares of E on pH. With two buffers the line passes through both: a third one, not used here, tells
    whether it is right (`evaluate.electrode_check`).

    References
    ----------
    .. [1] DIN 19268:2021, 5.3.2, for buffers of one edition, 2 pH apart. Least squares: common practice.
    """
    enough("buffers", len(readings), 2)
    editions = tuple(dict.fromkeys(reading.buffer.edition for reading in readings))
    temperature_c = _one_temperature(readings)
    _one_edition(editions)
    ph = [reading.buffer.ph for reading in readings]
    mv = [in_range("potential", reading.mv, -MOST_MV, MOST_MV, "mV") for reading in readings]
    line = fit_line([value - ISOPOTENTIAL_PH for value in ph], mv)
    if line.slope >= 0:
        raise ContradictionError(
            f"the potential changes by {line.slope:g} mV per pH, it should fall: were buffers swapped?",
            name="slope",
            value=line.slope,
            high=0.0,
        )
    found = [ISOPOTENTIAL_PH + line.reaches(value) for value in mv]
    residuals = tuple(one - other for one, other in zip(found, ph, strict=True))
    share = -line.slope / nernst_slope(temperature_c)
    return Electrode(share, line.intercept, temperature_c, editions, tuple(ph), residuals)


def _one_temperature(readings: Sequence[BufferReading]) -> float:
    temperatures = [finite("buffer temperature", reading.buffer.temperature_c) for reading in readings]
    low, high = min(temperatures), max(temperatures)
    if high - low > SAME_TEMPERATURE_C:
        raise ContradictionError(
            f"buffers were read from {low:g} to {high:g} °C; bring them within {SAME_TEMPERATURE_C:g} °C",
            name="buffer temperature",
            value=high - low,
            high=SAME_TEMPERATURE_C,
        )
    return sum(temperatures) / len(temperatures)


def _one_edition(editions: tuple[str, ...]) -> None:
    tables = [edition for edition in editions if edition != CERTIFICATE]
    if len(tables) > 1:
        raise ContradictionError(
            f"buffer values of different editions: {', '.join(tables)}; take all from one table",
            name="edition",
            value=editions,
        )


def ph_from_mv(electrode: Electrode, mv: "ArrayLike", temperature_c: "ArrayLike") -> "NDArray[np.float64]":
    r"""Return the pH that a calibrated electrode shows.

    Parameters
    ----------
    electrode : Electrode
        Its calibration.
    mv : array_like of float
        Potential, -2000 to 2000, any shape. [mV]
    temperature_c : array_like of float
        Temperature of the sample, 0 to 100, of a shape that broadcasts. [°C]

    Returns
    -------
    ndarray of float
        pH, of the broadcast shape.

    Raises
    ------
    OutOfRangeError
        If a value is not finite or outside its range.

    Notes
    -----
    :math:`pH = 7 + (E_7 - E)/(s\,k(t))`. Temperature compensation corrects the electrode alone, not the
    change of the sample's own pH. A temperature wrong by :math:`\Delta T` costs
    :math:`(pH - 7)\,\Delta T/T`: 0.06 pH for 5 °C at pH 3.5.

    References
    ----------
    .. [1] USP <791>, definition of pH. Published.
    """
    potential = all_in_range("potential", mv, -MOST_MV, MOST_MV, "mV")
    return ISOPOTENTIAL_PH + (electrode.offset_mv - potential) / _slopes_mv(electrode, temperature_c)


def mv_from_ph(electrode: Electrode, ph: "ArrayLike", temperature_c: "ArrayLike") -> "NDArray[np.float64]":
    r"""Return the potential that a calibrated electrode shows at a pH: a set point for an end point in mV.

    Parameters
    ----------
    electrode : Electrode
        Its calibration.
    ph : array_like of float
        pH, -2 to 16, any shape.
    temperature_c : array_like of float
        Temperature of the sample, 0 to 100, of a shape that broadcasts. [°C]

    Returns
    -------
    ndarray of float
        Potential, of the broadcast shape. [mV]

    Raises
    ------
    OutOfRangeError
        If a value is not finite or outside its range.

    Notes
    -----
    :math:`E = E_7 - s\,k(t)\,(pH - 7)`.

    References
    ----------
    .. [1] USP <791>, definition of pH. Published.
    """
    value = all_in_range("pH", ph, -2.0, 16.0)
    return electrode.offset_mv - _slopes_mv(electrode, temperature_c) * (value - ISOPOTENTIAL_PH)


def _slopes_mv(electrode: Electrode, temperature_c: "ArrayLike") -> "NDArray[np.float64]":
    kelvin = all_in_range("temperature", temperature_c, 0.0, 100.0, "°C") + ZERO_CELSIUS_K
    return electrode.slope_share * nernst_slope(0.0) * (kelvin / ZERO_CELSIUS_K)

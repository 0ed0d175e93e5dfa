"""What a buffer's pH is at its temperature: from the table of one edition, or from a certificate."""

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final, NamedTuple

from evaluate.checks import enough, finite, in_range
from evaluate.constants import ZERO_CELSIUS_K
from evaluate.errors import EvaluateError

CERTIFICATE: Final = "certificate"
"""Edition of a value that was typed from the bottle's certificate."""

OLD_ZERO_CELSIUS_K: Final = 273.16  # K; zero of the Celsius scale as RP1690 of 1946 takes it


@dataclass(frozen=True, slots=True)
class BufferTable:
    """The pH of one buffer against temperature, of one edition; shape ``(n,)``, temperatures growing."""

    name: str
    edition: str
    temperature_c: tuple[float, ...]
    ph: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.temperature_c) != len(self.ph):
            counts = f"{len(self.temperature_c)} temperatures and {len(self.ph)} pH"
            raise EvaluateError(f"buffer {self.name}: {counts} came; one pH is wanted for each temperature")
        enough(f"temperatures of buffer {self.name}", len(self.ph), 2)
        for t, ph in zip(self.temperature_c, self.ph, strict=True):
            in_range("buffer temperature", t, 0.0, 100.0, "°C")
            in_range("buffer pH", ph, 0.0, 14.0)
        if any(later <= earlier for earlier, later in pairwise(self.temperature_c)):
            raise EvaluateError(f"buffer {self.name}: temperatures must grow from row to row")


@dataclass(frozen=True, slots=True)
class Certificate:
    """The value that a bottle's certificate states."""

    ph: float
    temperature_c: float = 25.0

    def __post_init__(self) -> None:
        in_range("certificate pH", self.ph, 0.0, 14.0)
        in_range("certificate temperature", self.temperature_c, 0.0, 100.0, "°C")


class BufferValue(NamedTuple):
    """The pH of a buffer at its temperature, and where the figure comes from."""

    name: str
    ph: float
    temperature_c: float
    edition: str


class PhthalateEdition(StrEnum):
    """Who fitted the equation of the phthalate buffer."""

    HAMER_1946 = "Hamer, Pinching, Acree 1946"
    HETZER_1977 = "Hetzer, Durst, Robinson, Bates 1977"


def buffer_value(
    table: BufferTable, temperature_c: float, certificate: Certificate | None = None
) -> BufferValue:
    """Return the pH of a buffer at a temperature.

    Parameters
    ----------
    table : BufferTable
        Its table of one edition. [°C; pH]
    temperature_c : float
        Temperature of the buffer in the cup, within the table. [°C]
    certificate : Certificate, optional
        Value from the bottle, which overrides the table; away from its own temperature it is moved by as much
        as the table moves.

    Returns
    -------
    BufferValue
        pH with the edition it comes from, which is "certificate" where one was given.

    Raises
    ------
    OutOfRangeError
        If a temperature is not finite or outside the table. There is no extrapolation.

    Notes
    -----
    Straight lines between rows: with rows every 5 °C within 0.001 of the smooth curve for the buffers in use.

    References
    ----------
    .. [1] Interpolation. Common practice, no source.
    """
    ph = _in_table(table, temperature_c)
    edition = table.edition
    if certificate is not None:
        ph += certificate.ph - _in_table(table, certificate.temperature_c)
        edition = CERTIFICATE
    return BufferValue(table.name, ph, float(temperature_c), edition)


def _in_table(table: BufferTable, temperature_c: float) -> float:
    temperatures = table.temperature_c
    t = in_range(
        f"temperature of buffer {table.name}", temperature_c, temperatures[0], temperatures[-1], "°C"
    )
    i = next(i for i, upper in enumerate(temperatures[1:]) if t <= upper)
    share = (t - temperatures[i]) / (temperatures[i + 1] - temperatures[i])
    return table.ph[i] + share * (table.ph[i + 1] - table.ph[i])


def phthalate_ph(temperature_c: float, edition: PhthalateEdition) -> float:
    r"""Return the pH of 0.05 mol/kg potassium hydrogen phthalate by a published equation.

    Parameters
    ----------
    temperature_c : float
        Temperature, 0 to 60. [°C]
    edition : PhthalateEdition
        Which equation; never mix them inside one calibration.

    Returns
    -------
    float
        pH.

    Raises
    ------
    OutOfRangeError
        If the temperature is not finite or outside its range.

    Notes
    -----
    1946: :math:`1336.08/T - 5.2678 + 0.016069\,T` with :math:`T = t + 273.16` [1]_. 1977:
    :math:`2073.44/T - 13.3270 + 0.045199\,T - 3.4846\cdot 10^{-5}\,T^2` [2]_.

    References
    ----------
    .. [1] W. J. Hamer, G. D. Pinching, S. F. Acree, J. Res. NBS 36 (1946) 47, RP1690, abstract. Published.
    .. [2] H. B. Hetzer, R. A. Durst, R. A. Robinson, R. G. Bates, J. Res. NBS 81A (1977) 21, abstract.
       Published.
    """
    t = in_range("buffer temperature", finite("buffer temperature", temperature_c), 0.0, 60.0, "°C")
    if edition is PhthalateEdition.HAMER_1946:
        kelvin = t + OLD_ZERO_CELSIUS_K
        return 1336.08 / kelvin - 5.2678 + 0.016069 * kelvin
    kelvin = t + ZERO_CELSIUS_K
    return 2073.44 / kelvin - 13.3270 + 0.045199 * kelvin - 3.4846e-5 * kelvin**2

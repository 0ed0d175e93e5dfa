"""Redox potentials: no number without its reference electrode, one check solution, no slope."""

from dataclasses import dataclass
from typing import Final, NamedTuple

from evaluate.checks import in_range, positive
from evaluate.errors import EvaluateError

MOST_MV: Final = 2000.0  # mV; well beyond any redox potential in water
FERRI_FERROCYANIDE_MV: Final = 428.0  # mV against SHE at 25 °C; Standard Methods 1997, table 2580:I
FERRI_FERROCYANIDE_MV_PER_C: Final = -2.2  # mV/°C; same table, formula 428 - 2.2 (t - 25)
TABLE_C: Final = 25.0  # °C; temperature of the figure above


@dataclass(frozen=True, slots=True)
class ReferenceElectrode:
    """What a redox potential was measured against; its own potential comes with its source."""

    name: str
    potential_mv_she: float
    """Potential against the standard hydrogen electrode at the temperature of use. [mV]"""
    source: str

    def __post_init__(self) -> None:
        in_range("potential of the reference", self.potential_mv_she, -1000.0, 1000.0, "mV")
        if not self.name.strip() or not self.source.strip():
            raise EvaluateError("a reference electrode needs its name and the source of its potential")


class OrpCheck(NamedTuple):
    """What an electrode pair showed in a check solution."""

    found_mv_she: float
    expected_mv_she: float
    tolerance_mv: float

    @property
    def offset_mv(self) -> float:
        """Found less expected. [mV]"""
        return self.found_mv_she - self.expected_mv_she

    @property
    def passes(self) -> bool:
        """Whether the offset is within the tolerance."""
        return abs(self.offset_mv) <= self.tolerance_mv


def potential_against_she(mv: float, reference: ReferenceElectrode) -> float:
    """Return a redox potential against the standard hydrogen electrode.

    Parameters
    ----------
    mv : float
        Potential as measured, -2000 to 2000. [mV]
    reference : ReferenceElectrode
        What it was measured against. [mV]

    Returns
    -------
    float
        Potential against the standard hydrogen electrode. [mV]

    Raises
    ------
    OutOfRangeError
        If the potential is not finite or outside its range.

    Notes
    -----
    Definition: the two potentials add. Junction potentials are left out.

    References
    ----------
    .. [1] Definition.
    """
    return in_range("potential", mv, -MOST_MV, MOST_MV, "mV") + reference.potential_mv_she


def ferri_ferrocyanide_potential(temperature_c: float) -> float:
    """Return the potential of the ferri- and ferrocyanide check solution.

    Parameters
    ----------
    temperature_c : float
        Temperature, 1 to 30. [°C]

    Returns
    -------
    float
        Potential against the standard hydrogen electrode. [mV]

    Raises
    ------
    OutOfRangeError
        If the temperature is not finite or outside its range.

    Notes
    -----
    428 - 2.2 (t - 25). Other authors give 2 mV more (recalled), which the usual tolerance of 10 mV covers.

    References
    ----------
    .. [1] Standard Methods for the Examination of Water and Wastewater, 1997, table 2580:I. Published; the
       formula meets its whole figures to 0.5 mV.
    """
    t = in_range("temperature", temperature_c, 1.0, 30.0, "°C")
    return FERRI_FERROCYANIDE_MV + FERRI_FERROCYANIDE_MV_PER_C * (t - TABLE_C)


def check_orp(
    mv: float, reference: ReferenceElectrode, expected_mv_she: float, tolerance_mv: float = 10.0
) -> OrpCheck:
    """Return whether an electrode pair shows what a check solution should.

    Parameters
    ----------
    mv : float
        Potential in the solution, as measured, -2000 to 2000. [mV]
    reference : ReferenceElectrode
        What it was measured against.
    expected_mv_she : float
        Potential of the solution against the standard hydrogen electrode, -2000 to 2000. [mV]
    tolerance_mv : float
        Allowed difference, more than 0; 10 is usual (recalled). [mV]

    Returns
    -------
    OrpCheck
        Found, expected, offset and whether it passes. [mV]

    Raises
    ------
    OutOfRangeError
        If a potential is not finite or outside its range, or the tolerance not more than 0.

    Notes
    -----
    One solution gives an offset; a redox pair has no slope to fit.

    References
    ----------
    .. [1] Common practice, no source.
    """
    expected = in_range("expected potential", expected_mv_she, -MOST_MV, MOST_MV, "mV")
    return OrpCheck(potential_against_she(mv, reference), expected, positive("tolerance", tolerance_mv, "mV"))

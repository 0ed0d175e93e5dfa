"""Whether a new value can be right: against the range of its quantity, what was expected, and common slips.

Advice only. A value stands or falls by what a person finds at the bench.
"""

import math
from collections.abc import Sequence
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from evaluate.checks import finite, not_negative, positive
from evaluate.units import quantity

DEFAULT_COVERAGE: Final = 3.0  # [1] standard uncertainties that may lie between; common practice, no source
MOST_CARBON_DIOXIDE_G_PER_L: Final = 2.0  # g/L tartaric; saturated wine, teaching sheet, published

USUAL_RANGE: Final = MappingProxyType(
    {
        "ph": (2.5, 4.5),  # [pH]
        "free_so2": (0.0, 150.0),  # [mg/L]
        "total_so2": (0.0, 450.0),  # [mg/L]
        "ta_ph_7_0": (2.0, 20.0),  # [g/L tartaric]
        "ta_ph_8_2": (2.0, 20.0),  # [g/L tartaric]
        "ta_inflection": (2.0, 20.0),  # [g/L tartaric]
        "va": (0.0, 3.0),  # [g/L acetic]
        "alcohol": (0.0, 22.0),  # [% vol]
        "temperature": (-5.0, 45.0),  # [°C]
        "molecular_so2": (0.0, 10.0),  # [mg/L]
        "yan_formol": (0.0, 800.0),  # [mg N/L]
    }
)
"""Where musts and wines lie, by code of the quantity, in its unit; our choice, wider than data sets show."""


class Doubt(StrEnum):
    """Why a value may be wrong."""

    OUTSIDE_RANGE = "outside what musts and wines show"
    SAMPLE_VOLUME = "as if another sample volume had been taken"
    NOT_EXPECTED = "not what was expected"
    CARBON_DIOXIDE = "acidity risen as if carbon dioxide had been counted"


class PlausibilityDoubt(NamedTuple):
    """A doubt, what speaks for it, and what to do."""

    doubt: Doubt
    evidence: str
    advice: str


class Estimate(NamedTuple):
    """A value with its standard uncertainty, both in the unit of the quantity."""

    value: float
    u: float


def judge_range(quantity_code: str, value: float) -> PlausibilityDoubt | None:
    """Tell whether a value lies where no must or wine was found.

    Parameters
    ----------
    quantity_code : str
        Code of the quantity, see `evaluate.units`.
    value : float
        In the unit the quantity is kept in. [unit of the quantity]

    Returns
    -------
    PlausibilityDoubt or None
        None inside the range, both ends allowed, and for a quantity without one.

    Raises
    ------
    UnitError
        If there is no such quantity.
    OutOfRangeError
        If the value is not finite.

    Notes
    -----
    Ranges of `USUAL_RANGE`. A data set of red wines spans pH 2.74 to 4.01 and free SO2 of 1 to 72 mg/L [1]_.

    References
    ----------
    .. [1] P. Cortez et al., Decision Support Systems 47 (2009) 547, data set. Published; the ranges are our
       choice.
    """
    wanted = quantity(quantity_code)
    number = finite(wanted.name, value)
    low, high = USUAL_RANGE.get(quantity_code, (-math.inf, math.inf))
    if low <= number <= high:
        return None
    return PlausibilityDoubt(
        Doubt.OUTSIDE_RANGE,
        f"{wanted.name} of {number:g} {wanted.unit}, usual are {low:g} to {high:g}",
        "look at the unit, the decimal mark and the sample, and measure again",
    )


def judge_against_expected(
    found: Estimate,
    expected: Estimate,
    *,
    sample_ml: float | None = None,
    other_samples_ml: Sequence[float] = (),
    coverage: float = DEFAULT_COVERAGE,
) -> PlausibilityDoubt | None:
    r"""Tell whether a value fits what its lot let expect, and if not, whether a sample volume explains it.

    Parameters
    ----------
    found : Estimate
        The new value. [unit of the quantity]
    expected : Estimate
        From earlier values, a forecast, or after an addition. [unit of the quantity]
    sample_ml : float, optional
        Sample volume the new value was computed with. [mL]
    other_samples_ml : sequence of float
        Volumes that pipettes and methods of the bench offer besides. [mL]
    coverage : float
        Standard uncertainties of the difference that may lie between, more than 0.

    Returns
    -------
    PlausibilityDoubt or None
        None if it fits.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    It fits if :math:`|x - e| \le k \sqrt{u_x^2 + u_e^2}`. If the flask held :math:`V'` and not :math:`V`, the
    true value is :math:`x V / V'`; among the volumes that make it fit, the closest is named: 50 for 25 mL
    doubles a value, 20 for 50 mL gives two fifths.

    References
    ----------
    .. [1] Propagation of a difference, JCGM 100:2008, equation 10. Published. The coverage is common
       practice, no source.
    """
    most = positive("coverage", coverage)
    if _distance(found, expected) <= most:
        return None
    differs = (
        f"{finite('value', found.value):g} found, {expected.value:g} ± "
        f"{most * math.hypot(found.u, expected.u):.2g} expected"
    )
    fitting = _fitting_volumes(found, expected, sample_ml, other_samples_ml, most)
    if fitting:
        _, other_ml, true_value = min(fitting)
        return PlausibilityDoubt(
            Doubt.SAMPLE_VOLUME,
            f"{differs}; with {other_ml:g} mL for {sample_ml:g} mL it would be {true_value:.4g}",
            f"ask which pipette was used; if in doubt, measure again with {sample_ml:g} mL",
        )
    return PlausibilityDoubt(
        Doubt.NOT_EXPECTED,
        differs,
        "look whether samples or modes were exchanged and what was done to the lot, and measure again",
    )


def judge_acidity_rise(
    found: Estimate, earlier: Estimate, *, coverage: float = DEFAULT_COVERAGE
) -> PlausibilityDoubt | None:
    """Tell whether an acidity has risen as if dissolved carbon dioxide had been titrated.

    Parameters
    ----------
    found, earlier : Estimate
        Titratable acidity of one lot to one end point, nothing acid added between. [g/L tartaric]
    coverage : float
        Standard uncertainties of the difference that may lie between, more than 0.

    Returns
    -------
    PlausibilityDoubt or None
        None without a rise beyond the uncertainty, or with one that carbon dioxide cannot make.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or negative, or the coverage not more than 0.

    Notes
    -----
    Wine does not gain acid by itself; a young, saturated one that was not degassed reads up to about 2 g/L
    too high [1]_.

    References
    ----------
    .. [1] Teaching sheet of an Australian winery laboratory. Published.
    """
    now, before = not_negative("acidity", found.value, "g/L"), not_negative("acidity", earlier.value, "g/L")
    band = positive("coverage", coverage) * _u_difference(found, earlier)
    rise = now - before
    if rise <= band or rise > MOST_CARBON_DIOXIDE_G_PER_L + band:
        return None
    return PlausibilityDoubt(
        Doubt.CARBON_DIOXIDE,
        f"{now:.2f} g/L found, {before:.2f} before: {rise:.2f} more, {band:.2f} is within uncertainty",
        "ask whether the sample was degassed; degas it and titrate again",
    )


def _distance(found: Estimate, expected: Estimate) -> float:
    """Return the difference in standard uncertainties; infinite where there is no uncertainty."""
    difference = abs(finite("value", found.value) - finite("expected value", expected.value))
    u = _u_difference(found, expected)
    if u == 0:
        return 0.0 if difference == 0 else math.inf
    return difference / u


def _u_difference(one: Estimate, other: Estimate) -> float:
    return math.hypot(not_negative("uncertainty", one.u), not_negative("uncertainty", other.u))


def _fitting_volumes(
    found: Estimate, expected: Estimate, sample_ml: float | None, others_ml: Sequence[float], most: float
) -> list[tuple[float, float, float]]:
    """Return distance, volume and true value for each other volume with which the value would fit."""
    if sample_ml is None:
        return []
    used = positive("sample volume", sample_ml, "mL")
    fitting = []
    for other_ml in others_ml:
        ratio = used / positive("other sample volume", other_ml, "mL")
        true = Estimate(found.value * ratio, found.u * ratio)
        distance = _distance(true, expected)
        if distance <= most:
            fitting.append((distance, other_ml, true.value))
    return fitting

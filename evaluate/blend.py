"""What a blend should measure, from its parts by volume, with its uncertainty."""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from evaluate.checks import enough, finite, in_range, not_negative, positive
from evaluate.errors import NotPredictableError
from evaluate.units import quantity

MIXES_BY_VOLUME: Final = frozenset(
    {
        "total_so2",
        "combined_so2",
        "free_so2",
        "ta_ph_7_0",
        "ta_ph_8_2",
        "ta_inflection",
        "va",
        "yan_formol",
        "malic_acid",
        "lactic_acid",
        "glucose_fructose",
        "alcohol",
        "density",
    }
)
"""Codes of the quantities that are an amount in a volume, so that parts add up."""
_SETTLES: Final = "free SO2 settles anew in a blend: compare after some days, and the total at once"


class BlendPart(NamedTuple):
    """One part of a blend, with standard uncertainties."""

    volume_l: float
    value: float
    """[unit of the quantity]"""
    u_value: float = 0.0
    """[unit of the quantity]"""
    u_volume_share: float = 0.0
    """Uncertainty of the volume as a share of it. [1]"""


class BlendExpectation(NamedTuple):
    """What the blend should measure."""

    value: float
    u: float
    """Standard uncertainty. [unit of the quantity]"""
    volume_l: float
    remark: str
    """What must be said beside it; empty where there is nothing."""


def blend_expectation(quantity_code: str, parts: Sequence[BlendPart]) -> BlendExpectation:
    r"""Return what a blend should measure right after mixing.

    Parameters
    ----------
    quantity_code : str
        A quantity that mixes by volume, see `MIXES_BY_VOLUME`.
    parts : sequence of BlendPart
        One or more; volumes more than 0. [L; unit of the quantity]

    Returns
    -------
    BlendExpectation
        Volume-weighted mean with its standard uncertainty. [unit of the quantity]

    Raises
    ------
    UnitError
        If there is no such quantity.
    NotPredictableError
        If the quantity does not mix by volume, such as pH.
    TooFewPointsError
        If there are no parts.
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    :math:`x = \sum V_i x_i / V`, :math:`u^2 = \sum (V_i u(x_i)/V)^2 + \sum ((x_i - x) u(V_i)/V)^2`, values
    and volumes independent. The change of volume on mixing, below 0.1 % for wines, is left out. The pH of a
    blend depends on what buffers its parts and is measured.

    References
    ----------
    .. [1] Balance of amounts, exact for equal densities; JCGM 100:2008, equation 10. Published.

    Examples
    --------
    >>> blend_expectation("total_so2", [BlendPart(1000.0, 90.0), BlendPart(3000.0, 110.0)]).value
    105.0
    """
    wanted = quantity(quantity_code)
    if quantity_code not in MIXES_BY_VOLUME:
        raise NotPredictableError(
            f"{wanted.name} of a blend cannot be computed from its parts: measure it",
            name="quantity",
            value=quantity_code,
        )
    enough("parts of the blend", len(parts), 1)
    volumes = [positive("volume of a part", part.volume_l, "L") for part in parts]
    values = [finite(f"{wanted.name} of a part", part.value) for part in parts]
    whole = math.fsum(volumes)
    mean = math.fsum(volume * value for volume, value in zip(volumes, values, strict=True)) / whole
    by_values = [
        volume * not_negative("uncertainty of a value", part.u_value)
        for volume, part in zip(volumes, parts, strict=True)
    ]
    by_volumes = [
        (value - mean) * volume * in_range("uncertainty of a volume", part.u_volume_share, 0.0, 1.0)
        for value, volume, part in zip(values, volumes, parts, strict=True)
    ]
    u = math.hypot(*by_values, *by_volumes) / whole
    return BlendExpectation(mean, u, whole, _SETTLES if quantity_code == "free_so2" else "")

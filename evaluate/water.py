"""The water that dissolved treatments bring into a wine."""

from collections.abc import Iterable
from typing import NamedTuple

from evaluate.checks import in_range, not_negative, positive


class WaterTally(NamedTuple):
    """Water added to a lot, against the share of it that is allowed."""

    water_l: float
    share: float
    """Water over wine. [L/L]"""
    left_l: float
    """What may still be added; never below zero. [L]"""
    within: bool


def water_tally(water_ml: Iterable[float], wine_l: float, *, allowed_share: float = 0.01) -> WaterTally:
    """Return the water of all treatments of a lot, against what is allowed.

    Parameters
    ----------
    water_ml : iterable of float
        Water of each treatment, none negative. [mL]
    wine_l : float
        Wine in the lot, more than 0. [L]
    allowed_share : float
        Greatest share of water, 0 to 0.1.

    Returns
    -------
    WaterTally
        Sum, share, what is left, and whether the sum is within the share.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    By definition. The default is the 1 % of the United States for water that dissolves treating materials
    [1]_; other places have other rules.

    References
    ----------
    .. [1] 27 CFR 24.246(a)(2), edition of 2001. Published.
    """
    wine = positive("volume of wine", wine_l, "L")
    share_allowed = in_range("allowed share of water", allowed_share, 0.0, 0.1)
    water_l = sum(not_negative("water", each, "mL") for each in water_ml) / 1000
    allowed_l = share_allowed * wine
    return WaterTally(water_l, water_l / wine, max(0.0, allowed_l - water_l), water_l <= allowed_l)

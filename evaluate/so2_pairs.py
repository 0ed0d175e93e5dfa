"""Free and total sulfur dioxide side by side: combined part, impossible pairs, the bias of red wine."""

from enum import StrEnum
from typing import Final, NamedTuple

from evaluate.checks import not_negative, positive
from evaluate.errors import ContradictionError

GREATEST_RED_EXCESS: Final = 0.66
"""Share by which acidifying methods may over-read the free SO2 of red wine: up to 66 %, Winemakers Research
Exchange, January 2022, after Burroughs 1975. Published."""


class PairVerdict(StrEnum):
    """Whether a free and a total value can belong to one wine."""

    POSSIBLE = "possible"
    WITHIN_UNCERTAINTY = "free above total, within uncertainty"
    IMPOSSIBLE = "impossible: free above total"


class FreeRange(NamedTuple):
    """What a free value of an acidifying method can stand for. [mg/L]"""

    low_mg_per_l: float
    high_mg_per_l: float
    statement: str
    """Plain words to show beside the value; empty when there is nothing to say."""


def combined_so2(free_mg_per_l: float, total_mg_per_l: float, *, allowance_mg_per_l: float = 0.0) -> float:
    """Return the combined part of the sulfur dioxide.

    Parameters
    ----------
    free_mg_per_l, total_mg_per_l : float
        Not negative. [mg/L]
    allowance_mg_per_l : float
        By how much free may exceed total before the pair is refused, such as twice the standard uncertainty
        of the difference. [mg/L]

    Returns
    -------
    float
        Total less free; zero where free exceeds total within the allowance. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or negative.
    ContradictionError
        If free exceeds total by more than the allowance.

    Notes
    -----
    By definition.

    References
    ----------
    .. [1] Definition of combined sulfur dioxide, exact.
    """
    free = not_negative("free SO2", free_mg_per_l, "mg/L")
    total = not_negative("total SO2", total_mg_per_l, "mg/L")
    if free - total > not_negative("allowance", allowance_mg_per_l, "mg/L"):
        raise ContradictionError(
            f"free SO2 of {free:g} mg/L cannot exceed total SO2 of {total:g} mg/L: look whether free and "
            "total, or two samples, were exchanged",
            name="free SO2",
            value=free,
            high=total,
        )
    return max(0.0, total - free)


def judge_pair(
    free_mg_per_l: float, total_mg_per_l: float, u_difference_mg_per_l: float, *, coverage: float = 2.0
) -> PairVerdict:
    """Tell whether a free and a total value can belong to one wine.

    Parameters
    ----------
    free_mg_per_l, total_mg_per_l : float
        Not negative. [mg/L]
    u_difference_mg_per_l : float
        Standard uncertainty of total less free. [mg/L]
    coverage : float
        Factor on the standard uncertainty, more than 0.

    Returns
    -------
    PairVerdict
        Possible, free above total within the uncertainty, or impossible.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    Free is a part of total, by definition. Common practice, no source.

    References
    ----------
    .. [1] Definition of free as a part of total; the band is common practice, no source.
    """
    excess = not_negative("free SO2", free_mg_per_l, "mg/L") - not_negative(
        "total SO2", total_mg_per_l, "mg/L"
    )
    allowed = positive("coverage", coverage) * not_negative("uncertainty", u_difference_mg_per_l, "mg/L")
    if excess <= 0:
        return PairVerdict.POSSIBLE
    return PairVerdict.WITHIN_UNCERTAINTY if excess <= allowed else PairVerdict.IMPOSSIBLE


def free_so2_range(free_mg_per_l: float, *, red: bool) -> FreeRange:
    """Return what a free value found by iodine or aeration can stand for, and say so.

    Parameters
    ----------
    free_mg_per_l : float
        As found, not negative. [mg/L]
    red : bool
        Whether the wine carries red pigment that binds sulfur dioxide.

    Returns
    -------
    FreeRange
        For red wine from the value over 1.66 up to the value; else the value alone. [mg/L]

    Raises
    ------
    OutOfRangeError
        If the value is not finite or negative.

    Notes
    -----
    Acidifying the sample sets pigment-bound sulfur dioxide free: reds over-read by up to 66 % [1]_. Earlier
    work on aeration found about 1 mg/L for each 200 mg/L bound [2]_. The two disagree, so the wider one is
    used.

    References
    ----------
    .. [1] Winemakers Research Exchange, January 2022, after Burroughs 1975. Published.
    .. [2] Bertrand, Am. J. Enol. Vitic. 27 (1976) 106. Published.
    """
    free = not_negative("free SO2", free_mg_per_l, "mg/L")
    if not red:
        return FreeRange(free, free, "")
    low = free / (1 + GREATEST_RED_EXCESS)
    statement = (
        f"upper value: acidifying a red wine sets pigment-bound SO2 free; the free SO2 lies between "
        f"{low:.0f} and {free:.0f} mg/L"
    )
    return FreeRange(low, free, statement)

"""A round through a group of barrels: which were missed, which were measured twice, which stand apart."""

from collections import Counter
from collections.abc import Sequence
from typing import Final, NamedTuple

from evaluate.checks import positive
from evaluate.errors import ContradictionError
from evaluate.series import series
from evaluate.statistics import NORMAL_MAD, median

MOST_DEVIATIONS: Final = 3.5  # [1] B. Iglewicz, D. Hoaglin, How to Detect and Handle Outliers, 1993; recalled
FEWEST_VALUES: Final = 5  # [1] with fewer, half of the barrels are one or two; our choice


class GroupValue(NamedTuple):
    """One value of one barrel."""

    barrel: str
    value: float
    """[unit of the quantity]"""


class GroupReport(NamedTuple):
    """What a round through a group of barrels shows."""

    missing: tuple[str, ...]
    """Members without a value."""
    repeated: tuple[str, ...]
    """Members with more than one value: two samples, or a slip of the scanner."""
    strangers: tuple[str, ...]
    """Barrels with a value that are no members."""
    apart: tuple[GroupValue, ...]
    """Values that stand apart from the group; empty with fewer than five."""
    middle: float
    """Median of all values of members. [unit of the quantity]"""
    spread: float
    """Robust standard deviation, at least the one given. [unit of the quantity]"""

    @property
    def is_complete(self) -> bool:
        """Whether every member has one value and nobody else has."""
        return not (self.missing or self.repeated or self.strangers)


def judge_group(members: Sequence[str], values: Sequence[GroupValue], least_spread: float) -> GroupReport:
    r"""Return the coverage of a round and the barrels that stand apart from their group.

    Parameters
    ----------
    members : sequence of str
        The barrels of the group, each once.
    values : sequence of GroupValue
        What was measured, in any order; at least one belongs to a member. [unit of the quantity]
    least_spread : float
        Spread that equal barrels would show, such as the repeatability of the method with what barrels
        usually differ by; more than 0. [unit of the quantity]

    Returns
    -------
    GroupReport
        Missing, repeated and foreign barrels, and values that stand apart. [unit of the quantity]

    Raises
    ------
    ContradictionError
        If a member is named twice.
    TooFewPointsError
        If no value belongs to a member.
    OutOfRangeError
        If a value is not finite, or the spread not more than 0.

    Notes
    -----
    A value stands apart if it lies more than 3.5 robust deviations from the median [1]_, the deviation being
    1.4826 times the median distance from the median, or `least_spread` if that is more. One sick barrel moves
    neither, while it would widen a standard deviation and hide itself. Every value of a barrel measured twice
    counts by itself: the second may be its neighbour's.

    References
    ----------
    .. [1] B. Iglewicz, D. Hoaglin, How to Detect and Handle Outliers, 1993. Recalled.
    """
    _must_be_once(members)
    known = set(members)
    inside = [one for one in values if one.barrel in known]
    numbers = series("values of the group", [one.value for one in inside])
    middle = median(numbers)
    distances = [abs(number - middle) for number in numbers]
    spread = max(NORMAL_MAD * median(distances), positive("least spread", least_spread))
    counts = Counter(one.barrel for one in inside)
    enough = len(numbers) >= FEWEST_VALUES
    pairs = zip(inside, distances, strict=True)
    return GroupReport(
        missing=tuple(barrel for barrel in members if barrel not in counts),
        repeated=tuple(barrel for barrel in members if counts[barrel] > 1),
        strangers=tuple(dict.fromkeys(one.barrel for one in values if one.barrel not in known)),
        apart=tuple(one for one, distance in pairs if enough and distance > MOST_DEVIATIONS * spread),
        middle=middle,
        spread=spread,
    )


def _must_be_once(members: Sequence[str]) -> None:
    twice = [barrel for barrel, times in Counter(members).items() if times > 1]
    if twice:
        raise ContradictionError(
            f"the group names {', '.join(twice)} more than once: strike one out", name="members", value=twice
        )

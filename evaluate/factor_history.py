"""The factor of a titrant on a day, from its history: in steps, or on a straight line between two entries."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from evaluate.checks import finite, positive
from evaluate.errors import ContradictionError, NotPredictableError


class FactorEntry(NamedTuple):
    """A factor and the day from which on it holds."""

    from_day: float
    factor: float


def factor_in_force(history: Sequence[FactorEntry], day: float) -> FactorEntry:
    """Return the factor that held on a day.

    Parameters
    ----------
    history : sequence of FactorEntry
        One titrant lot, in any order. [d; 1]
    day : float
        Day of the analysis. [d]

    Returns
    -------
    FactorEntry
        The latest entry not after that day; of two on one day the later in the list.

    Raises
    ------
    OutOfRangeError
        If the day is not finite, or a factor not more than 0.
    NotPredictableError
        If there is none yet: an analysis is never computed with a later factor in silence.

    Notes
    -----
    A new entry never moves what an earlier day gets.

    References
    ----------
    .. [1] Definition.
    """
    day = finite("day", day)
    for entry in history:
        positive("factor", entry.factor)
    held = [entry for entry in history if finite("from day", entry.from_day) <= day]
    if not held:
        raise NotPredictableError(
            f"the titrant was not standardised by day {day:g}; standardise it", name="day"
        )
    return max(enumerate(held), key=lambda item: (item[1].from_day, item[0]))[1]


def factor_on_line(history: Sequence[FactorEntry], day: float) -> float:
    r"""Return the factor that a titrant had on a day if it changed evenly from entry to entry.

    Parameters
    ----------
    history : sequence of FactorEntry
        One titrant lot, in any order, one entry a day at most. [d; 1]
    day : float
        Day of the analysis. [d]

    Returns
    -------
    float
        On the straight line between the entries before and after; from the last entry on, its factor. [1]

    Raises
    ------
    OutOfRangeError
        If the day is not finite, or a factor not more than 0.
    NotPredictableError
        If there is none yet.
    ContradictionError
        If two entries hold from the same day: no line passes through both.

    Notes
    -----
    :math:`f_1 + (f_2 - f_1)(d - d_1)/(d_2 - d_1)`: for looking back once the later factor is known, as when
    a bottle has taken up carbon dioxide since the day the earlier one was found. What is measured today is
    computed with `factor_in_force`.

    References
    ----------
    .. [1] Straight line through two points, exact; that the strength changes evenly is an assumption.
    """
    before = factor_in_force(history, day)
    entries = sorted(history, key=lambda entry: entry.from_day)
    _must_differ(entries)
    after = next((entry for entry in entries if entry.from_day > before.from_day), None)
    if after is None:
        return before.factor
    passed = (day - before.from_day) / (after.from_day - before.from_day)
    return before.factor + (after.factor - before.factor) * passed


def _must_differ(entries: Sequence[FactorEntry]) -> None:
    for one, next_one in pairwise(entries):
        if one.from_day == next_one.from_day:
            raise ContradictionError(
                f"two factors hold from day {one.from_day:g}, {one.factor:g} and {next_one.factor:g}: strike "
                "one out",
                name="from_day",
                value=one.from_day,
            )

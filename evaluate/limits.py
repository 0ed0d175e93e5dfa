"""Limits of sulfur dioxide as data, and a verdict on a value against one, with a guard band."""

import operator
from collections.abc import Iterable
from enum import StrEnum
from typing import TYPE_CHECKING, Final, NamedTuple

from evaluate.checks import finite, not_negative, positive
from evaluate.errors import NotPredictableError, UnknownNameError

if TYPE_CHECKING:
    from datetime import date

REFERENCE_METHOD: Final = "use the reference method, or lower the dose"


class LimitKind(StrEnum):
    """What a limit applies to."""

    TOTAL = "total"
    FREE = "free"
    COMBINED = "combined"
    LABEL = "label"
    """Above it a label must say something; no ceiling."""


class SugarComparison(StrEnum):
    """How the sugar of a class of wine stands to the threshold of its rule."""

    BELOW = "<"
    UP_TO = "<="
    ABOVE = ">"
    FROM = ">="

    def holds(self, sugar_g_per_l: float, threshold_g_per_l: float) -> bool:
        """Tell whether a sugar value stands so to the threshold."""
        compare = {"<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge}[self.value]
        return bool(compare(sugar_g_per_l, threshold_g_per_l))


class LimitVerdict(StrEnum):
    """Where a value stands to a limit, with its uncertainty."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    CANNOT_TELL = "cannot tell: use the reference method"


class SulfurDioxideLimit(NamedTuple):
    """One limit of one place for one class of wine."""

    jurisdiction: str
    wine_class: str
    kind: LimitKind
    limit_mg_per_l: float | None
    """None where no figure was found, or where the rule only shifts another limit."""
    shift_mg_per_l: float | None
    """What the rule adds to another limit, such as +50 or -30; None for a limit of its own."""
    unit: str
    """The unit of the rule in its own words."""
    sugar_test: str
    """What the rule calls sugar; empty where sugar does not matter."""
    sugar_comparison: SugarComparison | None
    """How the sugar of the class stands to the threshold; None where sugar does not matter."""
    sugar_g_per_l: float | None
    """The threshold; None where sugar does not matter."""
    valid_from: "date | None"
    """None where the day is not known."""
    source: str
    status: str
    """How the figure was come by: seen, memory or unverified."""

    @property
    def known(self) -> bool:
        """Whether the figure was read in its source, and may be relied on without looking it up."""
        return self.status == "seen" and self.limit_mg_per_l is not None


class LimitJudgement(NamedTuple):
    """A value against a limit."""

    verdict: LimitVerdict
    value_mg_per_l: float
    low_mg_per_l: float
    """Value less the guard band. [mg/L]"""
    high_mg_per_l: float
    """Value plus the guard band. [mg/L]"""
    limit_mg_per_l: float
    statement: str


def limits_in_force(
    limits: Iterable[SulfurDioxideLimit], jurisdiction: str, kind: LimitKind, on: "date"
) -> tuple[SulfurDioxideLimit, ...]:
    """Return the limits of a place that apply on a day, those of unknown date among them.

    Parameters
    ----------
    limits : iterable of SulfurDioxideLimit
        The table.
    jurisdiction : str
        As the table spells it.
    kind : LimitKind
        What the limit applies to.
    on : date
        The day.

    Returns
    -------
    tuple of SulfurDioxideLimit
        In the order of the table; empty if the place has none of this kind on that day.

    Raises
    ------
    UnknownNameError
        If the table has no such place: a misspelt place must not look like one without limits.

    Notes
    -----
    A person chooses the class: the sugar tests of the rules differ, and named wines have lists of their own.

    References
    ----------
    .. [1] Each limit carries its source.
    """
    table = tuple(limits)
    _must_be_a_place(table, jurisdiction)
    return tuple(
        limit
        for limit in table
        if limit.jurisdiction == jurisdiction
        and limit.kind is kind
        and (limit.valid_from is None or limit.valid_from <= on)
    )


def sugar_fits(limit: SulfurDioxideLimit, sugar_g_per_l: float) -> bool:
    """Tell whether a sugar value, by the limit's own test, lies in its class.

    Parameters
    ----------
    limit : SulfurDioxideLimit
        Which names its test in `sugar_test`.
    sugar_g_per_l : float
        Result of that very test, not negative. [g/L]

    Returns
    -------
    bool
        Whether the class applies; a class without a sugar test applies to every wine.

    Raises
    ------
    OutOfRangeError
        If the sugar is not finite or negative.

    Notes
    -----
    The four tests of the rules (glucose and fructose, reducing substances, residual and total sugars)
    differ, and a value of one is none of another.

    References
    ----------
    .. [1] Each limit carries its source.
    """
    sugar = not_negative(limit.sugar_test or "sugar", sugar_g_per_l, "g/L")
    if limit.sugar_comparison is None or limit.sugar_g_per_l is None:
        return True
    return limit.sugar_comparison.holds(sugar, limit.sugar_g_per_l)


def judge_against_limit(
    value_mg_per_l: float, u_mg_per_l: float, limit_mg_per_l: float, *, coverage: float = 2.0
) -> LimitJudgement:
    """Tell whether a value lies inside a limit, outside, or too close to tell.

    Parameters
    ----------
    value_mg_per_l : float
        Found or forecast, not negative. [mg/L]
    u_mg_per_l : float
        Its standard uncertainty, not negative. [mg/L]
    limit_mg_per_l : float
        The limit itself is still inside; more than 0. [mg/L]
    coverage : float
        Width of the guard band in standard uncertainties, more than 0.

    Returns
    -------
    LimitJudgement
        The verdict with its bounds and a sentence.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.

    Notes
    -----
    Guarded on both sides [1]_: inside when the value plus the band does not exceed the limit, outside when
    the value less the band exceeds it. Near a limit the regulation asks for the reference method [2]_.

    References
    ----------
    .. [1] JCGM 106:2012, guarded acceptance and guarded rejection. Recalled.
    .. [2] Regulation (EEC) 2676/90, annex, chapter 25. Published.
    """
    value = not_negative("value", value_mg_per_l, "mg/L")
    limit = positive("limit", limit_mg_per_l, "mg/L")
    band = positive("coverage", coverage) * not_negative("uncertainty", u_mg_per_l, "mg/L")
    verdict = _verdict(value, band, limit)
    return LimitJudgement(
        verdict, value, max(0.0, value - band), value + band, limit, _statement(verdict, value, band, limit)
    )


def shifted_limit(limit_mg_per_l: float, shift_mg_per_l: float) -> float:
    """Return a limit to which a rule adds or from which it takes.

    Parameters
    ----------
    limit_mg_per_l : float
        More than 0. [mg/L]
    shift_mg_per_l : float
        What the rule adds; negative for a rule that takes. [mg/L]

    Returns
    -------
    float
        The limit to apply. [mg/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite, or nothing is left.

    Notes
    -----
    A sum; the rule that shifts says for which wines.

    References
    ----------
    .. [1] Each limit carries its source.
    """
    limit = positive("limit", limit_mg_per_l, "mg/L")
    return positive("shifted limit", limit + finite("shift", shift_mg_per_l), "mg/L")


def required_limit(limit: SulfurDioxideLimit) -> float:
    """Return the figure of a limit.

    Parameters
    ----------
    limit : SulfurDioxideLimit
        A row of the table.

    Returns
    -------
    float
        The limit. [mg/L]

    Raises
    ------
    NotPredictableError
        If the row has no figure of its own: it shifts another limit, or no figure was found.

    Notes
    -----
    A row from memory has a figure; its status says that it must be confirmed before use.

    References
    ----------
    .. [1] Each limit carries its source.
    """
    if limit.limit_mg_per_l is None:
        missing = "it shifts another limit" if limit.shift_mg_per_l is not None else "no figure was found"
        raise NotPredictableError(
            f"{limit.jurisdiction}, {limit.wine_class}: {missing}; read {limit.source} and enter the limit",
            name="limit",
            value=limit.wine_class,
        )
    return limit.limit_mg_per_l


def _must_be_a_place(table: tuple[SulfurDioxideLimit, ...], jurisdiction: str) -> None:
    places = dict.fromkeys(limit.jurisdiction for limit in table)
    if jurisdiction not in places:
        raise UnknownNameError(
            f"the table of limits has no place {jurisdiction!r}; it has: {', '.join(places)}",
            name="jurisdiction",
            value=jurisdiction,
        )


def _verdict(value: float, band: float, limit: float) -> LimitVerdict:
    if value + band <= limit:
        return LimitVerdict.INSIDE
    return LimitVerdict.OUTSIDE if value - band > limit else LimitVerdict.CANNOT_TELL


def _statement(verdict: LimitVerdict, value: float, band: float, limit: float) -> str:
    found = f"{value:.0f} ± {band:.0f} mg/L against a limit of {limit:.0f} mg/L"
    if verdict is LimitVerdict.CANNOT_TELL:
        return f"{found}: cannot tell; {REFERENCE_METHOD}"
    return f"{found}: {verdict.value}"

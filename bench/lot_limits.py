"""Which limits of sulfur dioxide apply to a lot, by its market, class, colour and sugar."""

from collections.abc import Iterable
from datetime import date
from functools import lru_cache
from typing import Final, NamedTuple

from bench.kinds.cellar import Lot
from bench.limits_table import shipped_limits
from bench.refused import Fault, RefusedError
from evaluate.errors import UnknownNameError
from evaluate.limits import (
    LimitJudgement,
    LimitKind,
    SulfurDioxideLimit,
    judge_against_limit,
    limits_in_force,
    sugar_fits,
)

__all__ = [
    "LimitJudgement",
    "LotLimits",
    "SulfurDioxideLimit",
    "colour_of",
    "limits_of",
    "total_limit",
    "verdict_on",
]
CEILINGS: Final = (LimitKind.TOTAL, LimitKind.FREE, LimitKind.COMBINED)
SUGAR_OF_A_LOT: Final = "glucose and fructose"
"""Whose sum the sugar of a lot is; a value of one sugar test is none of another."""
COLOURS: Final = ("red", "white", "rose")
EVERY_WINE: Final = ("all wine", "wine")


class LotLimits(NamedTuple):
    """The limits of a lot as far as they can be told."""

    apply: tuple[SulfurDioxideLimit, ...]
    may_apply: tuple[SulfurDioxideLimit, ...]
    """Rules that fit what is known, of which something is still asked."""
    asks: tuple[str, ...]
    """What to enter so that it can be told, in plain words."""


def limits_of(lot: Lot, on: date, table: Iterable[SulfurDioxideLimit] | None = None) -> LotLimits:
    """Return the limits that apply to a lot on a day.

    A class that the table spells in the same words is what a person chose, and stands alone. Otherwise colour
    and sugar choose among the ordinary classes; named lists of special wines are chosen by a person only.
    """
    if not lot.jurisdiction:
        return LotLimits((), (), ("the market: jurisdiction, as the table of limits names it",))
    rows = tuple(_shipped() if table is None else table)
    apply: list[SulfurDioxideLimit] = []
    may_apply: list[SulfurDioxideLimit] = []
    asks: list[str] = []
    try:
        for kind in CEILINGS:
            of_place = limits_in_force(rows, lot.jurisdiction, kind, on)
            named = [row for row in of_place if row.wine_class == lot.wine_class]
            for row in named or [row for row in of_place if _fits_colour(row, lot)]:
                wanting = [] if named else _wanting(row, lot)
                asks += wanting
                if wanting:
                    may_apply.append(row)
                elif named or _fits_sugar(row, lot):
                    apply.append(row)
    except UnknownNameError as error:
        return LotLimits((), (), (str(error),))
    if not apply and not may_apply and not asks:
        asks.append("the class: wine_class, as the table of limits spells it, or colour and sugar_g_l")
    return LotLimits(tuple(apply), tuple(may_apply), tuple(dict.fromkeys(asks)))


@lru_cache(maxsize=1)
def _shipped() -> tuple[SulfurDioxideLimit, ...]:
    return shipped_limits()


def colour_of(lot: Lot) -> str:
    """Return the colour of a lot; the class says it where it is one."""
    return lot.colour or (lot.wine_class if lot.wine_class in COLOURS else "")


def _fits_colour(row: SulfurDioxideLimit, lot: Lot) -> bool:
    """Tell whether an ordinary class may be that of a lot; a colour that is not known excludes none."""
    colours = _colours(row)
    if not colours:
        return row.wine_class.split(",")[0] in EVERY_WINE
    return not colour_of(lot) or colour_of(lot) in colours


def _colours(row: SulfurDioxideLimit) -> tuple[str, ...]:
    """Return the colours that a class begins with, such as ``white or rose, ...``."""
    found: list[str] = []
    for word in row.wine_class.replace(",", "").split():
        if word in COLOURS:
            found.append(word)
        elif word != "or":
            break
    return tuple(found)


def _wanting(row: SulfurDioxideLimit, lot: Lot) -> list[str]:
    wanting = []
    if _colours(row) and not colour_of(lot):
        wanting.append("the colour")
    if row.sugar_comparison is not None:
        if row.sugar_test != SUGAR_OF_A_LOT:
            wanting.append(
                f"the class by its name in the table: this rule asks for {row.sugar_test},"
                f" and the sugar of a lot is {SUGAR_OF_A_LOT}"
            )
        elif lot.sugar_g_l is None:
            wanting.append("the sugar: sugar_g_l, glucose and fructose")
    if row.limit_mg_per_l is None and row.shift_mg_per_l is None:
        wanting.append(f"the figure: none was found; read {row.source}")
    return wanting


def _fits_sugar(row: SulfurDioxideLimit, lot: Lot) -> bool:
    return row.sugar_comparison is None or (lot.sugar_g_l is not None and sugar_fits(row, lot.sugar_g_l))


def verdict_on(
    row: SulfurDioxideLimit, value_mg_l: float, u_mg_l: float, *, coverage: float = 2.0
) -> LimitJudgement | None:
    """Return where a value stands to a limit, with its guard band; None if the rule has no figure. [mg/L]"""
    if row.limit_mg_per_l is None:
        return None
    return judge_against_limit(value_mg_l, u_mg_l, row.limit_mg_per_l, coverage=coverage)


def total_limit(lot: Lot, code: str, on: date) -> SulfurDioxideLimit:
    """Return the limit of total SO2 that a lot must keep to, the lowest of several.

    Raises `RefusedError` if it cannot be told; it names what is to be entered.
    """
    found = limits_of(lot, on)
    with_figure = [
        row for row in found.apply if row.kind is LimitKind.TOTAL and row.limit_mg_per_l is not None
    ]
    if not with_figure:
        asked = "; ".join(found.asks) or "a class with a figure for total SO2"
        raise RefusedError(
            "lot.no_limit", f"no limit of total SO2 is known for {code}: give {asked}", Fault("lot", asked)
        )
    return min(with_figure, key=lambda row: row.limit_mg_per_l or 0.0)

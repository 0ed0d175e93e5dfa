"""When a quantity of a lot leaves its band: a straight line through what was measured, and its crossing."""

from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.additions_found import settled_since
from bench.kinds.cellar import Lot
from bench.lot_results import results_of_lot, usable
from bench.records import Record
from bench.refused import Fault, RefusedError
from evaluate.errors import EvaluateError
from evaluate.trend import Rate, Trend, crossing, loss_rate, straight_line
from storage.queries.results import CurrentResult

DAY_US: Final = 86_400_000_000  # [µs]
FURTHEST_DAYS: Final = 3650.0  # [d] a line is not drawn further; our choice


class Leaving(NamedTuple):
    """When a level is reached, or why that cannot be told."""

    level: float
    at_us: int | None
    earliest_us: int | None
    latest_us: int | None
    why: str
    """Why there is no date; empty if there is one."""


class LotForecast(NamedTuple):
    """A trend of a lot with the days on which it reaches its levels."""

    points: tuple[CurrentResult, ...]
    since_us: int
    """Points before this are left out: an addition is a step, not a slope. [µs]"""
    trend: Trend | None
    rate: Rate | None
    crossings: tuple[Leaving, ...]
    why: str
    """Why there is no trend; empty if there is one."""


def forecast_of_lot(
    connection: Connection,
    lot: Record[Lot],
    quantity: str,
    levels: tuple[float, ...],
    *,
    probability: float,
    now_us: int,
) -> LotForecast:
    """Return the trend of a quantity since the last addition has settled, and when it reaches each level.

    Raises
    ------
    RefusedError
        If no level is given and the lot has no band for the quantity.
    """
    wanted = levels or _band(lot, quantity)
    since_us = settled_since(connection, lot.record_id, now_us)
    found = results_of_lot(connection, lot.record_id, quantity, from_us=since_us, to_us=now_us + 1)
    points = tuple(one for one in found if usable(one))
    if not points:
        return LotForecast(points, since_us, None, None, (), f"no {quantity} was measured since then")
    days = [(one.at_us - points[0].at_us) / DAY_US for one in points]
    try:
        trend = straight_line(days, [one.value or 0.0 for one in points])
        rate = loss_rate(trend, probability=probability)
    except EvaluateError as error:
        return LotForecast(points, since_us, None, None, (), str(error))
    crossings = tuple(_leaving(trend, level, probability, points[0].at_us) for level in wanted)
    return LotForecast(points, since_us, trend, rate, crossings, "")


def _band(lot: Record[Lot], quantity: str) -> tuple[float, ...]:
    ends = (lot.body.molecular_low_mg_l, lot.body.molecular_high_mg_l)
    found = tuple(end for end in ends if end is not None) if quantity == "molecular_so2" else ()
    if not found:
        detail = f"{lot.code} has no band for {quantity}: give a level, or a band for molecular SO2"
        raise RefusedError("lot.no_band", detail, Fault("level", detail))
    return found


def _leaving(trend: Trend, level: float, probability: float, zero_us: int) -> Leaving:
    try:
        found = crossing(trend, level, probability=probability)
    except EvaluateError as error:
        return Leaving(level, None, None, None, str(error))

    if found.at > FURTHEST_DAYS:
        return Leaving(level, None, None, None, f"by its slope not within {FURTHEST_DAYS / 365:.0f} years")

    def moment(day: float | None) -> int | None:
        return None if day is None or abs(day) > FURTHEST_DAYS else zero_us + round(day * DAY_US)

    return Leaving(level, moment(found.at), moment(found.earliest), moment(found.latest), "")

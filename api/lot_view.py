"""What the pages of lots show: where each lot stands, what applies to it, what a dose would do."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection

from api.lot_chart import LotChart, Slope, lot_chart
from api.routes.additions import lot_binding
from api.routes.lots import lot_dose, lot_latest, lot_limits
from api.routes.movements import lot_volume
from api.schemas.additions import LotBindingBody
from api.schemas.cellar import DoseBody, LatestBody, LotLatestBody, LotLimitsBody, LotVolumeBody
from bench.kinds.cellar import Lot
from bench.lot_forecast import Leaving, LotForecast, forecast_of_lot
from bench.lot_results import results_of_lot, usable
from bench.records import Record, find
from bench.refused import RefusedError
from storage.queries.records import records_of_kind

MOST_LOTS: Final = 200
PROBABILITY: Final = 0.95
MOLECULAR: Final = "molecular_so2"


@dataclass(frozen=True, slots=True)
class LotRow:
    """One lot of the list."""

    code: str
    name: str
    latest: dict[str, LatestBody]
    band: str
    """below, inside, above, unknown, or none if no band is wanted."""


@dataclass(frozen=True, slots=True)
class LotView:
    """One lot."""

    lot: Record[Lot]
    latest: LotLatestBody
    limits: LotLimitsBody
    quantity: str
    """Of the drawing."""
    chart: LotChart | None
    leaving: tuple[Leaving, ...]
    no_forecast: str
    """Why there is none; empty if there is one."""
    dose: DoseBody | None
    no_dose: str
    """Why it cannot be told; empty if it can or was not asked."""
    volume: LotVolumeBody
    binding: LotBindingBody
    """What earlier additions did, and what that teaches."""


def read_lots(connection: Connection, now_us: int) -> list[LotRow]:
    """Return every lot in use with the latest of what is asked most. [µs]"""
    lots = records_of_kind(connection, "lot", limit=MOST_LOTS, retired=False)
    return [_row(connection, one.code, now_us) for one in lots]


def _row(connection: Connection, code: str, now_us: int) -> LotRow:
    found = lot_latest(connection, code, now_us)
    name = find(connection, Lot, code).body.name
    band = "none" if found.band is None else found.band.verdict
    return LotRow(code, name, {one.quantity: one for one in found.items}, band)


def read_lot(connection: Connection, code: str, now_us: int, dose_mg_l: float | None) -> LotView:
    """Return one lot; raise `NotThereError` if there is no such lot. [µs, mg/L]"""
    lot = find(connection, Lot, code)
    forecast, why = _forecast(connection, lot, now_us)
    quantity = "free_so2" if forecast is None else MOLECULAR
    dose, no_dose = _dose(connection, code, dose_mg_l, now_us)
    return LotView(
        lot=lot,
        latest=lot_latest(connection, code, now_us),
        limits=lot_limits(connection, code, now_us),
        quantity=quantity,
        chart=_chart(connection, lot, quantity, forecast, now_us),
        leaving=() if forecast is None else forecast.crossings,
        no_forecast=why if forecast is None else forecast.why,
        dose=dose,
        no_dose=no_dose,
        volume=lot_volume(connection, code, now_us),
        binding=lot_binding(connection, code),
    )


def _forecast(connection: Connection, lot: Record[Lot], now_us: int) -> tuple[LotForecast | None, str]:
    try:
        found = forecast_of_lot(connection, lot, MOLECULAR, (), probability=PROBABILITY, now_us=now_us)
    except RefusedError as refused:
        return None, refused.detail
    return found, ""


def _dose(
    connection: Connection, code: str, dose_mg_l: float | None, now_us: int
) -> tuple[DoseBody | None, str]:
    if dose_mg_l is None:
        return None, ""
    try:
        return lot_dose(connection, code, dose_mg_l, None, now_us), ""
    except RefusedError as refused:
        return None, refused.detail


def _chart(
    connection: Connection, lot: Record[Lot], quantity: str, forecast: LotForecast | None, now_us: int
) -> LotChart | None:
    series = results_of_lot(connection, lot.record_id, quantity, to_us=now_us + 1)
    points = [(one.at_us, one.value or 0.0) for one in series if usable(one)]
    band = (lot.body.molecular_low_mg_l, lot.body.molecular_high_mg_l)
    return lot_chart(points, now_us, _slope(forecast), band if quantity == MOLECULAR else (None, None))


def _slope(forecast: LotForecast | None) -> Slope | None:
    if forecast is None or forecast.trend is None:
        return None
    return Slope(forecast.points[0].at_us, forecast.trend.intercept, forecast.trend.slope)

"""The results of a lot: the latest of each quantity with its age, and a series for a trend."""

from typing import Final, NamedTuple

from sqlalchemy import Connection

from storage.queries.records import records_naming
from storage.queries.result_statements import ResultFilter
from storage.queries.results import CurrentResult, results_after

MOST: Final = 100_000  # results of one lot looked at: more than a century of daily rounds


class Latest(NamedTuple):
    """The newest result of a quantity that may be used."""

    of: CurrentResult
    age_us: int
    """Since it was measured. [µs]"""
    before: CurrentResult | None
    """The one before it, to see what changed."""
    passed_over: tuple[int, ...]
    """Ids of newer results that are not to be used."""


def samples_of(connection: Connection, lot_id: int) -> tuple[int, ...]:
    """Return the ids of the samples that were drawn from a lot."""
    return tuple(one.record_id for one in records_naming(connection, lot_id, "lot", "sample"))


def usable(one: CurrentResult) -> bool:
    """Tell whether a result may stand for its wine: it has a number, and nothing forbids its use."""
    return one.value is not None and one.standing != "do_not_use" and one.mark != "rejected"


def results_of_lot(
    connection: Connection,
    lot_id: int,
    quantity: str | None = None,
    *,
    from_us: int | None = None,
    to_us: int | None = None,
) -> list[CurrentResult]:
    """Return the results of a lot in the order of time. `to_us` is exclusive. [µs]"""
    samples = samples_of(connection, lot_id)
    if not samples:
        return []
    wanted = ResultFilter(sample_ids=samples, quantity=quantity, from_us=from_us, to_us=to_us)
    found = results_after(connection, wanted, limit=MOST)
    return sorted(found, key=lambda one: (one.at_us, one.result_id))


def latest_of_lot(connection: Connection, lot_id: int, now_us: int) -> dict[str, Latest]:
    """Return the latest usable result of each quantity by its code. [µs]"""
    by_quantity: dict[str, list[CurrentResult]] = {}
    for one in results_of_lot(connection, lot_id, to_us=now_us + 1):
        by_quantity.setdefault(one.quantity, []).append(one)
    found = {quantity: _latest(series, now_us) for quantity, series in sorted(by_quantity.items())}
    return {quantity: one for quantity, one in found.items() if one is not None}


def _latest(series: list[CurrentResult], now_us: int) -> Latest | None:
    good = [one for one in series if usable(one)]
    if not good:
        return None
    newest = good[-1]
    place = series.index(newest)
    return Latest(
        newest,
        now_us - newest.at_us,
        good[-2] if len(good) > 1 else None,
        tuple(one.result_id for one in series[place + 1 :]),
    )


def latest_before(
    connection: Connection, lot_id: int, quantity: str, at_us: int, vessel_samples: tuple[int, ...] = ()
) -> CurrentResult | None:
    """Return the newest usable result of a lot up to a moment, of some of its samples if named. [µs]"""
    found = results_of_lot(connection, lot_id, quantity, to_us=at_us + 1)
    good = [one for one in found if usable(one) and (not vessel_samples or one.sample_id in vessel_samples)]
    return good[-1] if good else None


def first_after(connection: Connection, lot_id: int, quantity: str, from_us: int) -> CurrentResult | None:
    """Return the first usable result of a lot from a moment on. [µs]"""
    found = [one for one in results_of_lot(connection, lot_id, quantity, from_us=from_us) if usable(one)]
    return found[0] if found else None

"""The water that dissolved additions brought into a lot."""

from typing import NamedTuple

from sqlalchemy import Connection

from bench.additions_found import done_additions
from bench.canonical_json import from_text
from bench.kinds.cellar import Lot
from bench.records import find
from bench.refused import Fault, MalformedError
from evaluate.water import WaterTally, water_tally


class LotWater(NamedTuple):
    """The tally of a lot with the additions that it was summed from."""

    volume_l: float
    tally: WaterTally
    additions: tuple[int, ...]


def water_of_lot(connection: Connection, code: str, allowed_share: float) -> LotWater:
    """Return the water of every addition to a lot that was done; raise `MalformedError` without a volume."""
    lot = find(connection, Lot, code)
    if lot.body.volume_l is None:
        detail = f"the volume of {code} is not known: enter volume_l"
        raise MalformedError("addition.volume", detail, Fault("volume_l", detail))
    water_ml = {
        one.number: from_text(step.details)["water_ml"]
        for one in done_additions(connection, lot.record_id)
        if (step := one.last("done")) is not None
    }
    tally = water_tally(water_ml.values(), lot.body.volume_l, allowed_share=allowed_share)
    return LotWater(lot.body.volume_l, tally, tuple(number for number, ml in water_ml.items() if ml > 0))

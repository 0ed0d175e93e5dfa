"""What a blend should measure, from its parts by volume, beside what was measured in it."""

from typing import NamedTuple

from sqlalchemy import Connection

from bench.lot_results import first_after, latest_before, samples_of
from bench.refused import Fault, MalformedError
from evaluate.blend import MIXES_BY_VOLUME, BlendExpectation, BlendPart, blend_expectation
from evaluate.units import quantity as quantity_of
from storage.queries.cellar import Movement, MovementPart
from storage.queries.records import records_naming
from storage.queries.results import CurrentResult


class BlendValue(NamedTuple):
    """A quantity of a blend: what it should be and what it is."""

    quantity: str
    unit: str
    expected: BlendExpectation | None
    from_results: tuple[int, ...]
    """Ids of the results of the parts, in the order of the parts."""
    wanting: tuple[int, ...]
    """Places of the parts of which the quantity is not known."""
    measured: CurrentResult | None

    @property
    def difference(self) -> float | None:
        """Measured less expected. [unit of the quantity]"""
        if self.expected is None or self.measured is None or self.measured.value is None:
            return None
        return self.measured.value - self.expected.value


def blend_values(connection: Connection, of: Movement, quantity: str | None = None) -> list[BlendValue]:
    """Return what a movement made of its parts, for one quantity or for each that anything is known of.

    A part counts with the newest usable result of its lot up to the movement, of its own vessel if samples of
    that were measured. The blend is shown with the first usable result after the movement. Raises
    `MalformedError` for a quantity that does not mix by volume, such as pH.
    """
    if quantity is not None and quantity not in MIXES_BY_VOLUME:
        known = ", ".join(sorted(MIXES_BY_VOLUME))
        detail = f"{quantity} does not follow from its parts by volume: measure it. These do: {known}"
        raise MalformedError("movement.not_by_volume", detail, Fault("quantity", detail))
    wanted = [quantity] if quantity is not None else sorted(MIXES_BY_VOLUME)
    found = [_value(connection, of, one) for one in wanted]
    return [one for one in found if quantity is not None or one.from_results or one.measured]


def _value(connection: Connection, of: Movement, quantity: str) -> BlendValue:
    parts = [_of_part(connection, part, quantity, of.at_us) for part in of.parts]
    wanting = tuple(place for place, one in enumerate(parts) if one is None)
    known = [(part, one) for part, one in zip(of.parts, parts, strict=True) if one is not None]
    expected = None
    if not wanting:
        expected = blend_expectation(
            quantity,
            [BlendPart(part.volume_l, one.value or 0.0, one.uncertainty or 0.0) for part, one in known],
        )
    return BlendValue(
        quantity,
        quantity_of(quantity).unit,
        expected,
        tuple(one.result_id for _, one in known),
        wanting,
        first_after(connection, of.to_lot_id, quantity, of.at_us),
    )


def _of_part(connection: Connection, part: MovementPart, quantity: str, at_us: int) -> CurrentResult | None:
    if part.from_lot_id is None:
        return None
    own: tuple[int, ...] = ()
    if part.from_vessel_id is not None:
        drawn = {one.record_id for one in records_naming(connection, part.from_vessel_id, "vessel", "sample")}
        own = tuple(drawn & set(samples_of(connection, part.from_lot_id)))
    of_vessel = latest_before(connection, part.from_lot_id, quantity, at_us, own) if own else None
    return of_vessel or latest_before(connection, part.from_lot_id, quantity, at_us)

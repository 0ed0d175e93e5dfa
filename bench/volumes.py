"""How much wine a lot and a vessel hold: what a person entered, and what movements did since; never stored.

An entered volume stays what somebody read off; what to expect now follows from it and the movements after it.
"""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.kinds.cellar import Lot, Vessel
from bench.records import Record, find, read
from storage.queries.cellar import Movement, movements_of_lot, movements_of_vessel
from storage.queries.records import record_history

LEAVES: Final = ("bottle", "loss")
"""Kinds by which wine leaves the lot though they name it as the one it goes to."""
DAY_US: Final = 86_400_000_000  # [µs]


class Entered(NamedTuple):
    """A volume as a person entered it."""

    volume_l: float
    at_us: int
    """From when on it holds. [µs]"""
    actor: str


class LotVolume(NamedTuple):
    """The volume of a lot: entered, moved since, and so to be expected."""

    entered: Entered | None
    in_l: float
    """Brought by movements since. [L]"""
    out_l: float
    """Taken by movements since. [L]"""
    movements: tuple[int, ...]
    """The numbers of those movements."""

    @property
    def expected_l(self) -> float | None:
        """What should be there now; None if nothing was ever entered. [L]"""
        if self.entered is None and not self.movements:
            return None
        return (0.0 if self.entered is None else self.entered.volume_l) + self.in_l - self.out_l

    def in_words(self, now_us: int) -> str:
        """Return where the volume comes from and how old it is. [µs]"""
        if self.expected_l is None:
            return "never entered"
        count = len(self.movements)
        by = "one movement" if count == 1 else f"{count} movements"
        moved = f"{self.in_l:g} L in and {self.out_l:g} L out by {by}"
        if self.entered is None:
            return f"by movements alone: {moved}"
        days = max(now_us - self.entered.at_us, 0) / DAY_US
        told = f"{self.entered.volume_l:g} L entered by {self.entered.actor}, {days:.1f} d old"
        return f"{told}; since then {moved}" if self.movements else told


class VesselShare(NamedTuple):
    """What movements brought of a lot into a vessel, less what they took."""

    lot_id: int
    volume_l: float


class VesselContents(NamedTuple):
    """What a vessel should hold, as far as its movements were entered."""

    vessel: Record[Vessel]
    shares: tuple[VesselShare, ...]
    movements: tuple[int, ...]

    @property
    def expected_l(self) -> float:
        """All of it. [L]"""
        return sum(one.volume_l for one in self.shares)

    @property
    def remark(self) -> str:
        """What cannot be; empty if it can."""
        if any(one.volume_l < 0 for one in self.shares):
            return "more was taken out than was entered as put in: a movement is missing"
        if self.expected_l > self.vessel.body.capacity_l:
            return f"more than it holds, {self.vessel.body.capacity_l:g} L: a movement is missing or wrong"
        return ""


def volume_of_lot(connection: Connection, lot_id: int) -> LotVolume:
    """Return what was entered of the volume of a lot, and what movements did to it since."""
    entered = _entered(connection, lot_id)
    since_us = 0 if entered is None else entered.at_us
    changes = [
        (one.number, _change(one, lot_id))
        for one in movements_of_lot(connection, lot_id)
        if entered is None or one.at_us > since_us
    ]
    moved = [(number, litres) for number, litres in changes if litres]
    return LotVolume(
        entered,
        sum(litres for _, litres in moved if litres > 0),
        -sum(litres for _, litres in moved if litres < 0),
        tuple(number for number, _ in moved),
    )


def _entered(connection: Connection, lot_id: int) -> Entered | None:
    """Return the volume that stands in the record, from the version that first gave it."""
    found: Entered | None = None
    for change in record_history(connection, lot_id):
        volume_l = read(change.version, Lot).body.volume_l
        if volume_l is None:
            found = None
        elif found is None or found.volume_l != volume_l:
            found = Entered(volume_l, change.version.valid_from_us, change.actor)
    return found


def _change(one: Movement, lot_id: int) -> float:
    """Return how a movement changed the volume of a lot; racked within itself it stays. [L]"""
    came = one.volume_l if one.to_lot_id == lot_id and one.kind != "loss" else 0.0
    went = sum(part.volume_l for part in one.parts if part.from_lot_id == lot_id)
    if one.to_lot_id == lot_id and one.kind in LEAVES:
        return -went
    return came - went


def contents_of_vessel(connection: Connection, code: str) -> VesselContents:
    """Return what a vessel should hold of each lot; raise `NotThereError` if there is no such vessel."""
    vessel = find(connection, Vessel, code)
    found = movements_of_vessel(connection, vessel.record_id)
    return VesselContents(vessel, tuple(_shares(found, vessel.record_id)), tuple(one.number for one in found))


def _shares(found: Sequence[Movement], vessel_id: int) -> Iterable[VesselShare]:
    by_lot: dict[int, float] = {}
    for one in found:
        for part in one.parts:
            if part.from_vessel_id == vessel_id and part.from_lot_id is not None:
                by_lot[part.from_lot_id] = by_lot.get(part.from_lot_id, 0.0) - part.volume_l
        if one.to_vessel_id == vessel_id and one.kind != "loss":
            by_lot[one.to_lot_id] = by_lot.get(one.to_lot_id, 0.0) + one.volume_l
    # What was topped up goes by the name of the lot that it went into.
    return (VesselShare(lot_id, litres) for lot_id, litres in sorted(by_lot.items()) if abs(litres) > 1e-9)

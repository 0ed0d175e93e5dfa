"""What the pages of additions show: which there are, what a plan would do, what the balance showed."""

from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection

from api.reason_bodies import reason_bodies
from api.routes.additions import addition_body, lot_binding
from api.routes.movements import lot_volume
from api.schemas.additions import AdditionBody, LotBindingBody
from api.schemas.bench import ReasonBody
from api.schemas.cellar import LotVolumeBody
from bench.addition_plan import Asked, plan_of
from bench.additions import known, repeated
from bench.kinds.cellar import Lot
from bench.kinds.laboratory import Reagent
from bench.reasons import Cause
from bench.records import find, read
from bench.refused import Fault, RefusedError
from storage.queries.cellar import Addition, addition_weighed_by, newest_additions
from storage.queries.readings import ReadingFilter, ReadingRecord, newest_readings
from storage.queries.records import records_of_kind

MOST_CHOICES: Final = 500
"""Lots and substances to choose from."""
WEIGHINGS: Final = 5
"""Readings of a balance to choose from."""
OPEN_STATES: Final = ("planned", "weighed")


@dataclass(frozen=True, slots=True)
class AdditionList:
    """A page of additions, newest first."""

    items: tuple[AdditionBody, ...]
    further: int | None
    """From where the next page goes on; None on the last one."""


@dataclass(frozen=True, slots=True)
class Choices:
    """What a plan may be made of."""

    lots: tuple[str, ...]
    substances: tuple[tuple[str, str], ...]
    """Code and name."""


@dataclass(frozen=True, slots=True)
class PlanView:
    """What a plan would do, or why there can be none."""

    choices: Choices
    volume: LotVolumeBody | None
    """Of the lot that was chosen."""
    binding: LotBindingBody | None
    plan: dict[str, Any] | None
    flags: tuple[ReasonBody, ...]
    question: str
    """What is asked before the same once more; empty if nothing is."""
    why_not: str
    """Why there is no plan; empty if there is one, or none was asked for."""
    faults: dict[str, str]
    """The same by field."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """A mass that a balance showed since the plan was made."""

    reading: ReadingRecord
    of_addition: int | None
    """The addition whose mass it is already."""


@dataclass(frozen=True, slots=True)
class AdditionView:
    """One addition with what may be tied to it."""

    addition: AdditionBody
    weighings: tuple[Weighing, ...]
    question: str
    """What is asked before it is done a second time; empty if nothing is."""


def read_additions(
    connection: Connection, lot: str | None, before: int, now_us: int, *, only_open: bool, limit: int
) -> AdditionList:
    """Return additions, newest first; of a lot, or only those that are not settled, if wanted. [µs]"""
    lot_id = None if lot is None else find(connection, Lot, lot).record_id
    wanted: list[Addition] = []
    while len(wanted) <= limit and (
        found := newest_additions(connection, lot_id=lot_id, before=before, limit=limit + 1)
    ):
        wanted += [one for one in found if not only_open or one.state in OPEN_STATES]
        before = found[-1].number
    shown = wanted[:limit]
    return AdditionList(
        tuple(addition_body(connection, one, now_us) for one in shown),
        shown[-1].number if len(wanted) > limit else None,
    )


def read_plan(connection: Connection, asked: Asked | None, lot: str | None, now_us: int) -> PlanView:
    """Return what a plan would do; nothing is written. [µs]"""
    choices = _choices(connection)
    known_lot = lot if lot in choices.lots else None
    volume = None if known_lot is None else lot_volume(connection, known_lot, now_us)
    binding = None if known_lot is None else lot_binding(connection, known_lot)
    refused: RefusedError | None = None
    if asked is not None:
        try:
            found = plan_of(connection, asked, now_us)
        except RefusedError as error:
            refused = error
        else:
            plan = dict(found.content)
            again = repeated(connection, found.lot.record_id, found.substance.record_id, now_us)
            return PlanView(
                choices=choices,
                volume=volume,
                binding=binding,
                plan=plan,
                flags=tuple(reason_bodies(Cause(one["code"], one["evidence"]) for one in plan["flags"])),
                question="" if again is None else again.question,
                why_not="",
                faults={},
            )
    return PlanView(
        choices=choices,
        volume=volume,
        binding=binding,
        plan=None,
        flags=(),
        question="",
        why_not="" if refused is None else refused.detail,
        faults={} if refused is None else _by_field(refused.faults),
    )


def _by_field(faults: tuple[Fault, ...]) -> dict[str, str]:
    return {one.field: one.detail for one in faults if one.field}


def _choices(connection: Connection) -> Choices:
    lots = records_of_kind(connection, "lot", limit=MOST_CHOICES, retired=False)
    bottles = [
        read(one, Reagent)
        for one in records_of_kind(connection, "reagent", limit=MOST_CHOICES, retired=False)
    ]
    return Choices(
        tuple(one.code for one in lots),
        tuple((one.code, one.body.name) for one in bottles if one.body.reagent_kind == "substance"),
    )


def read_addition(connection: Connection, number: int, now_us: int) -> AdditionView:
    """Return one addition; raise `NotThereError` if there is none. [µs]"""
    of = known(connection, number)
    again = None
    if of.state == "weighed":
        again = repeated(connection, of.lot_id, of.substance_id, now_us, but=number)
    weighings = _weighings(connection, of.planned_at_us) if of.state in OPEN_STATES else ()
    return AdditionView(
        addition_body(connection, of, now_us), weighings, "" if again is None else again.question
    )


def _weighings(connection: Connection, from_us: int) -> tuple[Weighing, ...]:
    wanted = ReadingFilter(quantity="mass", outcome="value", from_us=from_us)
    found = newest_readings(connection, wanted, limit=WEIGHINGS)
    return tuple(Weighing(one, addition_weighed_by(connection, one.reading_id)) for one in found)

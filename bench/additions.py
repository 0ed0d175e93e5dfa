"""Additions as acts: planned, weighed, done, cancelled. A person weighs and doses; the program never does."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.addition_plan import Asked, plan_of
from bench.additions_found import SO2
from bench.canonical_json import from_text, to_text
from bench.control_records import HOUR_US
from bench.normalise import normal
from bench.refused import Fault, MalformedError, NotThereError, RefusedError
from evaluate.binding import Binding, predicted_free
from evaluate.sulfite_salts import rise_mg_per_l
from storage.bench_rows import AdditionRow, AdditionStepRow
from storage.queries.cellar import Addition, addition_by_number, addition_weighed_by, additions
from storage.queries.readings import reading_versions
from storage.transaction import Transaction

ASK_WITHIN_H: Final = 24.0  # [h] the same dose again in less is asked about; our choice
OFF_PLAN_SHARE: Final = 0.02  # [1] of the planned mass; beyond it a weighing is marked; our choice
NOT_BEFORE_D: Final = 5.0  # [d] by then an addition has settled; common practice, no source
BY_D: Final = 8.0  # [d] by then it is looked at; common practice, no source
DAY_H: Final = 24.0  # [h/d]


def plan(tx: Transaction, actor: Actor, asked: Asked, *, confirmed: bool = False) -> int:
    """Enter the plan of an addition and return its number.

    Raises
    ------
    RefusedError
        If the same substance went, or is to go, into the lot within hours and nobody confirmed; if something
        is not known; if the total would pass its limit.
    """
    if asked.limit_mg_l is not None and not actor.reason:
        raise MalformedError(
            "act.reason_wanted", "say where a limit of your own comes from", Fault("reason", "is empty")
        )
    found = plan_of(tx.connection, asked, actor.at_us)
    _ask_before_the_same(
        tx.connection,
        actor,
        (found.lot.record_id, found.substance.record_id),
        confirmed=confirmed,
        at_us=actor.at_us,
    )
    row = AdditionRow(
        found.lot.record_id,
        None if found.vessel is None else found.vessel.record_id,
        found.substance.record_id,
        SO2,
        to_text(dict(found.content)),
    )
    return tx.enter(
        "addition.planned",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"addition": [row]},
    )


class Repeated(NamedTuple):
    """The same substance went, or is to go, into the same lot a short time before or after."""

    of: Addition
    apart_us: int
    """Between the two. [µs]"""

    @property
    def question(self) -> str:
        """What is asked before a second one, in words."""
        return (
            f"addition {self.of.number}, {from_text(self.of.plan)['salt_g']:g} g of the same, was"
            f" {self.of.state} by {self.of.last_actor} {self.apart_us / HOUR_US:.1f} h before:"
            " confirm with a reason if a second one is meant"
        )


def repeated(
    connection: Connection, lot_id: int, substance_id: int, at_us: int, *, but: int | None = None
) -> Repeated | None:
    """Return the newest addition of the same within hours; None if there is none. [µs]

    `but` is an addition that was planned already: against it only those count that were done.
    """
    for one in reversed(additions(connection, lot_id=lot_id, limit=10_000)):
        done = one.last("done")
        apart_us = abs(at_us - (one.planned_at_us if done is None else done.at_us))
        is_same = one.substance_id == substance_id and one.state != "cancelled" and one.number != but
        if is_same and apart_us <= ASK_WITHIN_H * HOUR_US and (but is None or done is not None):
            return Repeated(one, apart_us)
    return None


def _ask_before_the_same(
    connection: Connection,
    actor: Actor,
    what: tuple[int, int],
    *,
    confirmed: bool,
    at_us: int,
    but: int | None = None,
) -> None:
    """Refuse what was planned or done within hours already, unless it is confirmed with a reason."""
    found = repeated(connection, *what, at_us, but=but)
    if found is None or (confirmed and actor.reason):
        return
    raise RefusedError("addition.repeated", found.question, Fault("confirmed", found.question))


def weigh(tx: Transaction, actor: Actor, number: int, reading_id: int) -> int:
    """Tie the mass that a balance showed to an addition, and return the number of the step."""
    of = _open(tx.connection, number)
    versions = reading_versions(tx.connection, reading_id)
    if not versions:
        detail = f"there is no reading {reading_id}"
        raise NotThereError("reading.unknown", detail, Fault("reading", detail))
    shown = versions[-1]
    mass = normal(shown.quantity, shown.outcome, shown.value_numeral, shown.unit)
    if shown.quantity != "mass" or mass.numeral is None or shown.stable is False:
        detail = f"reading {reading_id} ({shown.quantity}, {shown.value_text!r}) is no mass that came to rest"
        raise MalformedError("addition.no_mass", detail, Fault("reading", detail))
    if shown.at_us < of.planned_at_us:
        detail = f"reading {reading_id} is older than the plan: weigh again"
        raise MalformedError("addition.no_mass", detail, Fault("reading", detail))
    other = addition_weighed_by(tx.connection, reading_id)
    if other is not None and other != number:
        detail = f"reading {reading_id} is the mass of addition {other}"
        raise RefusedError("addition.reading_taken", detail, Fault("reading", detail))
    return _enter_mass(tx, actor, of, float(mass.numeral), at_us=shown.at_us, reading_id=reading_id)


def weigh_by_hand(tx: Transaction, actor: Actor, number: int, masses_g: Sequence[float]) -> int:
    """Enter a mass that a person read off a balance, given twice; it is marked as typed. [g]"""
    of = _open(tx.connection, number)
    if len(masses_g) != 2 or masses_g[0] != masses_g[1]:
        raise MalformedError(
            "hand.not_twice", "a typed mass is entered twice, and both agree", Fault("mass_g", "again")
        )
    return _enter_mass(tx, actor, of, masses_g[0], at_us=actor.at_us, reading_id=None)


def _enter_mass(
    tx: Transaction, actor: Actor, of: Addition, mass_g: float, *, at_us: int, reading_id: int | None
) -> int:
    plan_ = from_text(of.plan)
    if not 0 < mass_g < float("inf"):
        detail = f"{mass_g:g} g is no mass of an addition"
        raise MalformedError("addition.no_mass", detail, Fault("mass_g", detail))
    added = rise_mg_per_l(mass_g, plan_["volume_l"], plan_["so2_share"])
    total, limit = plan_["total"]["value"] + added, plan_["legal"]["limit_mg_l"]
    if total > limit:
        detail = f"{mass_g:g} g would bring the total to {total:.0f} mg/L, {limit:g} is allowed: weigh again"
        raise RefusedError("addition.over_limit", detail, Fault("mass_g", detail))
    off_g = mass_g - plan_["salt_g"]
    details = {
        "planned_g": plan_["salt_g"],
        "difference_g": off_g,
        "off_plan": abs(off_g) > OFF_PLAN_SHARE * plan_["salt_g"],
        "hand": reading_id is None,
    }
    row = AdditionStepRow(of.number, "weighed", at_us, mass_g, reading_id, to_text(details))
    return _enter(tx, actor, row)


def done(
    tx: Transaction,
    actor: Actor,
    number: int,
    at_us: int,
    *,
    water_ml: float | None = None,
    confirmed: bool = False,
    settles_d: tuple[float, float] = (NOT_BEFORE_D, BY_D),
) -> int:
    """Enter that the weighed mass went in, with what to expect of it and when to look. [µs, mL, d]"""
    of = _open(tx.connection, number)
    weighed = of.last("weighed")
    if weighed is None or weighed.mass_g is None:
        detail = f"addition {number} was not weighed yet: weigh {from_text(of.plan)['salt_g']:g} g first"
        raise RefusedError("addition.not_weighed", detail, Fault("", detail))
    if at_us > actor.at_us:
        raise MalformedError("act.future", "nothing was added in the future", Fault("at", "later than now"))
    first_d, last_d = settles_d
    if not 0 <= first_d <= last_d:
        raise MalformedError(
            "addition.settles", "a retest is due after it may begin", Fault("by_d", "not before not_before_d")
        )
    _ask_before_the_same(
        tx.connection, actor, (of.lot_id, of.substance_id), confirmed=confirmed, at_us=at_us, but=number
    )
    plan_ = from_text(of.plan)
    details = {
        **expected(plan_, weighed.mass_g),
        "water_ml": plan_["water_ml"] if water_ml is None else water_ml,
        "not_before_us": at_us + round(first_d * DAY_H * HOUR_US),
        "by_us": at_us + round(last_d * DAY_H * HOUR_US),
    }
    return _enter(tx, actor, AdditionStepRow(number, "done", at_us, weighed.mass_g, None, to_text(details)))


def expected(plan_: Mapping[str, Any], mass_g: float) -> dict[str, float]:
    """Return what the mass that was weighed does, by the share that the plan took. [mg/L]"""
    added = rise_mg_per_l(mass_g, plan_["volume_l"], plan_["so2_share"])
    told = plan_["binding"]
    share = Binding(told["share"], told["source"], told["spread"], told["additions"])
    free, low, high = predicted_free(plan_["free"]["value"], added, share)
    total = plan_["total"]["value"] + added
    return {
        "added_mg_l": added,
        "free_mg_l": free,
        "free_low_mg_l": low,
        "free_high_mg_l": high,
        "total_mg_l": total,
    }


def cancel(tx: Transaction, actor: Actor, number: int) -> int:
    """Enter that a planned addition is not made; a reason is wanted."""
    of = _open(tx.connection, number)
    if not actor.reason:
        raise MalformedError("act.reason_wanted", "say why it is not made", Fault("reason", "is empty"))
    return _enter(tx, actor, AdditionStepRow(of.number, "cancelled", actor.at_us, None, None, "{}"))


def known(connection: Connection, number: int) -> Addition:
    """Return an addition; raise `NotThereError` if there is none."""
    of = addition_by_number(connection, number)
    if of is None:
        raise NotThereError("addition.unknown", f"there is no addition {number}")
    return of


def _open(connection: Connection, number: int) -> Addition:
    of = known(connection, number)
    if of.state in ("done", "cancelled"):
        detail = f"addition {number} was {of.state} already: plan another one"
        raise RefusedError("addition.settled", detail, Fault("", detail))
    return of


def _enter(tx: Transaction, actor: Actor, row: AdditionStepRow) -> int:
    return tx.enter(
        f"addition.{row.step}",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"addition_step": [row]},
    )

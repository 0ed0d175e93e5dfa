"""What was found after the additions to a lot, and what that teaches about the next one."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.canonical_json import from_text
from bench.lot_results import first_after
from evaluate import binding as shares
from evaluate.binding import ONE_THIRD, Binding, found_share, learn_binding
from storage.queries.cellar import Addition, additions
from storage.queries.results import CurrentResult

SO2: Final = "total_so2"
"""Quantity that an addition of sulfur dioxide raises by all of it."""


class Predicted(NamedTuple):
    """What was expected of an addition that was done, from the mass that was weighed. [mg/L]"""

    free_before: float
    added: float
    free: float
    low: float
    high: float


class Found(NamedTuple):
    """An addition that was done and has settled, with the free SO2 that was found then."""

    addition: Addition
    predicted: Predicted
    result: CurrentResult
    bound_share: float
    """Share of the addition that bound; outside 0 to 1 by error of measurement. [1]"""

    @property
    def is_as_predicted(self) -> bool:
        """Whether what was found lies between the bounds that were told."""
        return self.predicted.low <= (self.result.value or 0.0) <= self.predicted.high


class Retest(NamedTuple):
    """When to look at a lot again after an addition."""

    not_before_us: int
    by_us: int
    state: str
    """settling, due, overdue or measured."""
    result_id: int | None


def done_additions(connection: Connection, lot_id: int) -> list[Addition]:
    """Return the additions of SO2 to a lot that were done, in the order of time."""
    found = [
        one
        for one in additions(connection, lot_id=lot_id, limit=10_000)
        if one.state == "done" and one.quantity == SO2
    ]
    return sorted(found, key=done_at_us)


def done_at_us(addition: Addition) -> int:
    """Return when an addition was done. [µs]"""
    step = addition.last("done")
    assert step is not None  # noqa: S101 - the caller looked
    return step.at_us


def not_before_us(addition: Addition) -> int:
    """Return from when on a retest shows the settled value of an addition that was done. [µs]"""
    step = addition.last("done")
    assert step is not None  # noqa: S101 - the caller looked
    moment: int = from_text(step.details)["not_before_us"]
    return moment


def predicted(addition: Addition) -> Predicted:
    """Return what was expected of an addition when it was done."""
    step = addition.last("done")
    assert step is not None  # noqa: S101 - the caller looked
    details = from_text(step.details)
    return Predicted(
        from_text(addition.plan)["free"]["value"],
        details["added_mg_l"],
        details["free_mg_l"],
        details["free_low_mg_l"],
        details["free_high_mg_l"],
    )


def found_after(connection: Connection, addition: Addition, later: Sequence[Addition] = ()) -> Found | None:
    """Return what was found once an addition had settled, before the next one; None while nothing was."""
    result = first_after(connection, addition.lot_id, "free_so2", not_before_us(addition))
    if result is None or result.value is None or any(done_at_us(one) <= result.at_us for one in later):
        return None
    told = predicted(addition)
    share = found_share(shares.Addition(told.free_before, told.added, result.value))
    return Found(addition, told, result, share)


def found_of(connection: Connection, addition: Addition) -> Found | None:
    """Return what was found after one addition; None if it was not done, or nothing was found yet."""
    if addition.state != "done":
        return None
    done = done_additions(connection, addition.lot_id)
    later = [one for one in done if done_at_us(one) > done_at_us(addition)]
    return found_after(connection, addition, later)


def retest_of(addition: Addition, found: Found | None, now_us: int) -> Retest | None:
    """Return when to look again after an addition; None if it was not done. [µs]"""
    step = addition.last("done")
    if step is None:
        return None
    details = from_text(step.details)
    first_us, last_us = details["not_before_us"], details["by_us"]
    if found is not None:
        return Retest(first_us, last_us, "measured", found.result.result_id)
    state = "settling" if now_us < first_us else "due" if now_us <= last_us else "overdue"
    return Retest(first_us, last_us, state, None)


def findings(connection: Connection, lot_id: int) -> list[Found]:
    """Return every addition to a lot that has settled and was measured, in the order of time."""
    done = done_additions(connection, lot_id)
    found = (found_after(connection, one, done[place + 1 :]) for place, one in enumerate(done))
    return [one for one in found if one is not None]


def binding_of(connection: Connection, lot_id: int) -> Binding:
    """Return the share of an addition that binds in a lot, learned from it if anything was found."""
    learned = [
        shares.Addition(one.predicted.free_before, one.predicted.added, one.result.value or 0.0)
        for one in findings(connection, lot_id)
        if one.predicted.added > 0
    ]
    return learn_binding(learned) if learned else ONE_THIRD


def settled_since(connection: Connection, lot_id: int, now_us: int) -> int:
    """Return since when nothing was added: from where on values lie on one line; 0 if nothing was. [µs]

    It is the moment in which the last addition had settled, or while it settles, that in which it was done.
    """
    done = [one for one in done_additions(connection, lot_id) if done_at_us(one) <= now_us]
    if not done:
        return 0
    settled = not_before_us(done[-1])
    return settled if settled <= now_us else done_at_us(done[-1])

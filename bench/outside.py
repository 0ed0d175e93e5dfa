"""What other laboratories found: entered under their names, kept apart by source, held against ours."""

from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.kinds.cellar import Alias, Lot, Sample
from bench.lot_results import results_of_lot, usable
from bench.normalise import PLAIN_WORDS, normal
from bench.records import by_id, find, read
from bench.refused import Fault, MalformedError, RefusedError
from evaluate.errors import EvaluateError
from evaluate.proficiency import Score, zeta_score
from evaluate.recovery import Bias, control_bias
from storage.bench_rows import OutsideResultRow
from storage.queries.outside import OutsideResult, outside_results
from storage.queries.records import records_of_kind
from storage.queries.results import CurrentResult
from storage.transaction import Transaction

MOST: Final = 100_000  # results of one source looked at
SIGNS: Final = {"<": "below_range", ">": "above_range"}
"""What a sign before a figure makes of it: a bound, no number."""
DAY_US: Final = 86_400_000_000  # [µs]


class Theirs(NamedTuple):
    """One number as another laboratory told it."""

    name: str
    """Their word for the lot or the sample, verbatim."""
    at_us: int
    quantity: str
    value: str
    """As it stands on their paper: a decimal comma is taken, ``<0.1`` is a bound."""
    unit: str
    uncertainty: float | None = None
    method: str = ""


class Whose(NamedTuple):
    """What a name of another laboratory means here; nothing while nobody has said."""

    lot_id: int | None
    sample_id: int | None

    @property
    def is_known(self) -> bool:
        """Whether somebody has said what the name means."""
        return self.lot_id is not None or self.sample_id is not None


class Pair(NamedTuple):
    """A number of theirs beside the nearest of ours."""

    theirs: OutsideResult
    ours: CurrentResult
    zeta: Score | None
    """None where one of the two has no uncertainty."""

    @property
    def difference(self) -> float:
        """Ours less theirs. [unit of the quantity]"""
        return (self.ours.value or 0.0) - (self.theirs.value or 0.0)


class Comparison(NamedTuple):
    """Every pair of a source and a quantity, with the bias of ours against theirs."""

    pairs: tuple[Pair, ...]
    bias: Bias | None
    why: str
    """Why there is no bias; empty if there is one."""


def enter(tx: Transaction, actor: Actor, source: str, theirs: Sequence[Theirs]) -> list[int]:
    """Enter what another laboratory found, all or nothing, and return the numbers.

    A name that nobody has explained yet is entered all the same, and waits: it belongs to no wine until an
    alias says to which.

    Raises
    ------
    MalformedError
        If a figure is none, a unit does not fit, or it was measured in the future.
    RefusedError
        If the very same number was entered before.
    """
    numbers = []
    for place, one in enumerate(theirs):
        row = _row(tx.connection, actor, source, one, f"items.{place}")
        numbers.append(
            tx.enter(
                "outside_result.entered",
                at_us=actor.at_us,
                actor=actor.name,
                actor_kind=actor.kind,
                reason=actor.reason,
                rows={"outside_result": [row]},
            )
        )
    return numbers


def _row(connection: Connection, actor: Actor, source: str, one: Theirs, field: str) -> OutsideResultRow:
    if one.at_us > actor.at_us:
        raise MalformedError(
            "act.future", "nothing was measured in the future", Fault(f"{field}.at", "later")
        )
    outcome, numeral = _figure(one.value, field)
    found = normal(one.quantity, "value", numeral, one.unit)
    if found.numeral is None or found.unit is None:
        detail = f"{one.quantity} in {one.unit!r}: {PLAIN_WORDS.get(found.note or '', 'cannot be taken')}"
        raise MalformedError("outside.unit", detail, Fault(f"{field}.unit", detail))
    if _was_entered(connection, source, one, found.numeral):
        detail = f"{source} told {one.quantity} {one.value} of {one.name!r} at that time already"
        raise RefusedError("outside.entered_already", detail, Fault(field, detail))
    whose = whose_is(connection, source, one.name)
    is_value = outcome == "value"
    return OutsideResultRow(
        source,
        one.name,
        whose.lot_id,
        whose.sample_id,
        None,
        one.at_us,
        one.quantity,
        outcome,
        found.numeral,
        float(found.numeral) if is_value else None,
        found.unit,
        one.uncertainty,
        one.method,
    )


def _figure(text: str, field: str) -> tuple[str, str]:
    """Return outcome and plain numeral of a figure as people write it."""
    written = text.strip().replace(",", ".") if text.count(",") == 1 and "." not in text else text.strip()
    outcome = SIGNS.get(written[:1], "value")
    try:
        number = Decimal(written.lstrip("<>").strip())
    except InvalidOperation:
        number = Decimal("nan")
    if not number.is_finite():
        detail = f"{text!r} is no figure: write it like 1.85, 1,85 or <0.1"
        raise MalformedError("outside.figure", detail, Fault(f"{field}.value", detail))
    return outcome, f"{number:f}"


def _was_entered(connection: Connection, source: str, one: Theirs, numeral: str) -> bool:
    before = outside_results(connection, source=source, alias=one.name, quantity=one.quantity, limit=MOST)
    return any(
        (was.at_us, was.method, was.value_numeral) == (one.at_us, one.method, numeral) for was in before
    )


def whose_is(connection: Connection, source: str, name: str) -> Whose:
    """Return what a name of another laboratory means, by the table of aliases."""
    for version in records_of_kind(connection, "alias", retired=False, limit=MOST):
        alias = read(version, Alias).body
        if (alias.source, alias.name) == (source, name):
            if alias.sample is not None:
                sample = find(connection, Sample, alias.sample)
                lot = sample.body.lot
                lot_id = None if lot is None else find(connection, Lot, lot).record_id
                return Whose(lot_id, sample.record_id)
            return Whose(find(connection, Lot, alias.lot or "").record_id, None)
    return Whose(None, None)


def resolved(connection: Connection, one: OutsideResult) -> Whose:
    """Return whose a number is: as it was known when it came, else by what the aliases say now."""
    if one.lot_id is not None or one.sample_id is not None:
        return Whose(one.lot_id, one.sample_id)
    return whose_is(connection, one.source, one.alias)


def compared(
    connection: Connection, source: str, quantity: str, *, within_d: float, probability: float = 0.95
) -> Comparison:
    """Return how ours stand against those of another laboratory. [d]

    Each of theirs is held against ours of the same sample, else against the nearest of the lot in time.
    """
    found = outside_results(connection, source=source, quantity=quantity, limit=MOST)
    pairs = tuple(_pairs(connection, found, round(within_d * DAY_US)))
    try:
        bias = control_bias([pair.difference for pair in pairs], 0.0, probability=probability)
    except EvaluateError as error:
        return Comparison(pairs, None, str(error))
    return Comparison(pairs, bias, "")


def _pairs(connection: Connection, found: Iterable[OutsideResult], within_us: int) -> Iterable[Pair]:
    for one in found:
        whose = resolved(connection, one)
        if one.value is None or whose.lot_id is None:
            continue
        around = results_of_lot(
            connection,
            whose.lot_id,
            one.quantity,
            from_us=one.at_us - within_us,
            to_us=one.at_us + within_us + 1,
        )
        near = [ours for ours in around if usable(ours)]
        same = [ours for ours in near if ours.sample_id == whose.sample_id]
        best = min(same or near, key=lambda ours: abs(ours.at_us - one.at_us), default=None)
        if best is not None:
            yield Pair(one, best, _zeta(one, best))


def _zeta(theirs: OutsideResult, ours: CurrentResult) -> Score | None:
    if not theirs.uncertainty or not ours.uncertainty or ours.value is None or theirs.value is None:
        return None
    return zeta_score(ours.value, ours.uncertainty, theirs.value, theirs.uncertainty)


def code_of_lot(connection: Connection, whose: Whose) -> str | None:
    """Return the code of the lot that a name means."""
    return None if whose.lot_id is None else by_id(connection, Lot, whose.lot_id).code

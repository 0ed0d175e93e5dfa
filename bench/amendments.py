"""What if the titrant was weaker, the aliquot another: previewed, applied as an amendment, taken back.

Originals are never changed. Values of an amendment are staged in pieces, so that hearing never waits for
them, and made current by one row; one more row takes them back.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from sqlalchemy import Connection, func, select

from bench.actor import Actor
from bench.canonical_json import from_text, to_text
from bench.evaluation import DAY_US, uncertainty_of
from bench.kinds.laboratory import Method, Reagent
from bench.parts import followers
from bench.records import by_id, find
from bench.refused import Fault, MalformedError, NotThereError, RefusedError
from evaluate.errors import EvaluateError
from evaluate.factor_history import FactorEntry, factor_in_force, factor_on_line
from evaluate.formulas import recompute
from storage.bench_rows import AmendmentItemRow, AmendmentRow, AmendmentStateRow
from storage.queries.results import (
    CurrentResult,
    newest_versions,
    results_by_id,
    results_in_scope,
    results_standing_on,
)
from storage.schema import amendment, amendment_item, amendment_state
from storage.transaction import Transaction

PIECE: Final = 100
"""Most results staged in one commit: it takes some ten milliseconds."""


class FactorFrom(NamedTuple):
    """A factor and the moment from which, or at which, it held."""

    at_us: int
    factor: float


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is to be supposed of a stretch of time."""

    from_us: int
    to_us: int
    """Inclusive. [µs]"""
    titrant: str | None = None
    """Code of the titrant whose factor was another."""
    factors: tuple[FactorFrom, ...] = ()
    course: Literal["step", "line"] = "step"
    """Whether a factor holds until the next, or changes evenly between them."""
    method: str | None = None
    """Code of the method whose aliquot was another."""
    sample_ml: float | None = None
    """[mL]"""


class Supposed(NamedTuple):
    """What a result would be."""

    of: CurrentResult
    value: float
    uncertainty: float | None
    inputs: str


def suppose(connection: Connection, what: WhatIf) -> Iterator[Supposed]:
    """Yield every result that the supposition changes, with its new value, in the order of their ids.

    Results that stand on changed ones, such as molecular SO2, change with them.

    Raises
    ------
    MalformedError
        If the supposition is none, or a formula cannot take it; it names the result.
    """
    _must_suppose_something(what)
    direct = list(_directly(connection, what))
    changed = {one.of.result_id: (one.value, one.uncertainty) for one in direct}
    yield from sorted([*direct, *_following(connection, changed)], key=lambda one: one.of.result_id)


def _directly(connection: Connection, what: WhatIf) -> Iterator[Supposed]:
    methods: dict[tuple[int, int], Method] = {}
    for ids in _pieces(_concerned(connection, what)):
        for of in results_by_id(connection, ids):
            key = (of.method_id, of.method_version)
            if key not in methods:
                methods[key] = by_id(connection, Method, *key).body
            if of.value is not None and (found := _supposed(of, methods[key], what)) is not None:
                yield found


def _following(
    connection: Connection, changed: Mapping[int, tuple[float, float | None]]
) -> Iterator[Supposed]:
    try:
        for one in followers(connection, changed):
            yield Supposed(*one)
    except EvaluateError as error:
        detail = f"a result that stands on a changed one cannot be computed so: {error}"
        raise MalformedError("amendment.cannot_be_computed", detail, Fault("", detail)) from error


def catch_up(tx: Transaction, actor: Actor, ids: Sequence[int]) -> list[int]:
    """Bring results that stand on some changed ones in step with them, by an amendment of their own.

    Returns the ids of what moved; nothing is entered if all are in step. A reason is wanted.
    """
    now = {
        one.result_id: (one.value, one.uncertainty)
        for one in results_by_id(tx.connection, ids)
        if one.value is not None
    }
    found = list(_following(tx.connection, now))
    if found:
        number = tx.next_number
        row = AmendmentRow("value", to_text({"follows": sorted(ids)}), len(found))
        _enter(tx, actor, "amendment.begun", amendment=[row])
        stage(tx, actor, number, found)
        put_in_force(tx, actor, number)
    return [one.of.result_id for one in found]


def _must_suppose_something(what: WhatIf) -> None:
    if what.from_us > what.to_us:
        raise MalformedError(
            "amendment.window", "the window ends before it begins", Fault("to", "after from")
        )
    if what.sample_ml is not None and not 0 < what.sample_ml < math.inf:
        detail = f"an aliquot of {what.sample_ml:g} mL was supposed: it must be more than 0"
        raise MalformedError("amendment.aliquot", detail, Fault("sample_ml", detail))
    titrant, aliquot = what.titrant is not None, what.method is not None
    if titrant == aliquot or (titrant and not what.factors) or (aliquot and not what.sample_ml):
        raise MalformedError(
            "amendment.nothing_supposed",
            "suppose one thing: a titrant with its factors, or a method with its aliquot",
            Fault("titrant", "with factors"),
        )


def _concerned(connection: Connection, what: WhatIf) -> list[int]:
    inside = results_in_scope(connection, from_us=what.from_us, to_us=what.to_us)
    if what.titrant is not None:
        titrant = find(connection, Reagent, what.titrant)
        stood_on = set(results_standing_on(connection, "record", [titrant.record_id]))
    else:
        method = find(connection, Method, what.method or "")
        stood_on = set(results_standing_on(connection, "record", [method.record_id]))
    return [one for one in inside if one in stood_on]


def _supposed(of: CurrentResult, method: Method, what: WhatIf) -> Supposed | None:
    inputs = from_text(of.inputs)
    changed = dict(inputs)
    if what.factors and "titrant_factor" in inputs:
        changed["titrant_factor"] = _factor(what, of.at_us)
    if what.sample_ml is not None and "sample_ml" in inputs:
        changed["sample_ml"] = what.sample_ml
    if changed == inputs:
        return None
    formula_id, version = of.formula.split("/")
    try:
        value = recompute(formula_id, changed, int(version))
        uncertainty = uncertainty_of(method, of.formula, changed, value)
    except EvaluateError as error:
        detail = f"result {of.result_id} cannot be computed so: {error}"
        raise MalformedError("amendment.cannot_be_computed", detail, Fault("", detail)) from error
    return Supposed(of, value, uncertainty, to_text(changed))


def _factor(what: WhatIf, at_us: int) -> float:
    history = [FactorEntry(one.at_us / DAY_US, one.factor) for one in what.factors]
    try:
        if what.course == "line":
            return factor_on_line(history, at_us / DAY_US)
        return factor_in_force(history, at_us / DAY_US).factor
    except EvaluateError as error:
        raise MalformedError(
            "amendment.cannot_be_computed", str(error), Fault("factors", str(error))
        ) from error


def _pieces(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(ids), PIECE):
        yield ids[start : start + PIECE]


def begin(tx: Transaction, actor: Actor, what: WhatIf, expected: int) -> int:
    """Enter an amendment that is not in force yet, and return its id; a reason is wanted."""
    if not actor.reason:
        raise MalformedError("act.reason_wanted", "say why results change", Fault("reason", "is empty"))
    number = tx.next_number
    row = AmendmentRow("titrant" if what.titrant else "aliquot", to_text(_scope(what)), expected)
    _enter(tx, actor, "amendment.begun", amendment=[row])
    return number


def _scope(what: WhatIf) -> dict[str, object]:
    return {
        "from_us": what.from_us,
        "to_us": what.to_us,
        "titrant": what.titrant,
        "factors": [list(one) for one in what.factors],
        "course": what.course,
        "method": what.method,
        "sample_ml": what.sample_ml,
    }


def stage(tx: Transaction, actor: Actor, amendment_id: int, items: Sequence[Supposed]) -> None:
    """Enter some values of an amendment; nothing is current yet."""
    versions = newest_versions(tx.connection, [item.of.result_id for item in items])
    rows = [
        AmendmentItemRow(
            ordinal=ordinal,
            amendment_id=amendment_id,
            result_id=item.of.result_id,
            version=versions[item.of.result_id] + 1,
            sample_id=item.of.sample_id,
            outcome="value",
            value_numeral=repr(item.value),
            value=item.value,
            unit=item.of.unit,
            uncertainty=item.uncertainty,
            formula=item.of.formula,
            inputs=item.inputs,
        )
        for ordinal, item in enumerate(items)
    ]
    _enter(tx, actor, "amendment.staged", amendment_item=rows)


def put_in_force(tx: Transaction, actor: Actor, amendment_id: int) -> None:
    """Make every staged value of an amendment current by one row."""
    expected = expected_items(tx.connection, amendment_id)
    staged = staged_items(tx.connection, amendment_id)
    if expected is None:
        raise NotThereError("amendment.unknown", f"there is no amendment {amendment_id}")
    if staged != expected:
        raise RefusedError(
            "amendment.incomplete", f"{staged} of {expected} values are staged; stage them all, or abandon it"
        )
    _enter(tx, actor, "amendment.in_force", amendment_state=[AmendmentStateRow(amendment_id, "in_force")])


def undo(tx: Transaction, actor: Actor, amendment_id: int) -> None:
    """Take an amendment back: what it changed shows what it showed before; a reason is wanted.

    What stands on its results is brought in step with them when they are judged.
    """
    if not actor.reason:
        raise MalformedError("act.reason_wanted", "say why it is taken back", Fault("reason", "is empty"))
    if state_of(tx.connection, amendment_id) != "in_force":
        raise RefusedError("amendment.not_in_force", f"amendment {amendment_id} is not in force")
    _enter(tx, actor, "amendment.undone", amendment_state=[AmendmentStateRow(amendment_id, "undone")])


def state_of(connection: Connection, amendment_id: int) -> str | None:
    """Return the newest state of an amendment; None while it is staged, or if there is none."""
    query = (
        select(amendment_state.c.state)
        .where(amendment_state.c.amendment_id == amendment_id)
        .order_by(amendment_state.c.number.desc())
        .limit(1)
    )
    return connection.execute(query).scalar_one_or_none()


def staged_items(connection: Connection, amendment_id: int) -> int:
    """Return how many values of an amendment are entered."""
    query = select(func.count()).where(amendment_item.c.amendment_id == amendment_id)
    return int(connection.execute(query).scalar_one())


def expected_items(connection: Connection, amendment_id: int) -> int | None:
    """Return how many values an amendment will have; None if there is no such amendment."""
    query = select(amendment.c.expected_items).where(amendment.c.number == amendment_id)
    return connection.execute(query).scalar_one_or_none()


def results_of(connection: Connection, amendment_id: int) -> list[int]:
    """Return the ids of the results that an amendment has values for."""
    query = select(amendment_item.c.result_id).where(amendment_item.c.amendment_id == amendment_id)
    return sorted(connection.execute(query).scalars())


def _enter(
    tx: Transaction,
    actor: Actor,
    action: str,
    **rows: Sequence[AmendmentRow] | Sequence[AmendmentItemRow] | Sequence[AmendmentStateRow],
) -> None:
    tx.enter(
        action,
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows=rows,
    )

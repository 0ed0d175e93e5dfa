"""Results as they stand now: value of the newest amendment in force, newest standing, newest mark.

Original rows are never changed; what is current is worked out here and nowhere else.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlalchemy import Connection, Select, and_, func, or_, select, union

from storage.queries.control_records import Source
from storage.queries.tied_results import is_of_samples, newest_ties, results_tied_since, ties_of_result
from storage.schema import (
    amendment,
    amendment_item,
    amendment_state,
    ledger,
    release,
    result,
    result_input,
    standing,
)

_A_QUERY: Final = 500
"""Ids asked for at a time."""


@dataclass(frozen=True, slots=True)
class CurrentResult:
    """A result as it stands now."""

    result_id: int
    version: int
    """1 for the original; the version of the amendment in force otherwise."""
    revision: int
    """The newest entry that touched it."""
    sample_id: int | None
    item_id: int | None
    quantity: str
    method_id: int
    method_version: int
    instrument: str | None
    at_us: int
    outcome: str
    value_numeral: str | None
    value: float | None
    unit: str
    basis: str | None
    end_point: str | None
    uncertainty: float | None
    formula: str
    inputs: str
    run_id: int | None
    replicate_of: int | None
    hand: bool
    software_version: str
    source: str | None
    standing: str | None = None
    reasons: str = "[]"
    """JSON list of code and evidence."""
    mark: str | None = None
    """released, withdrawn or rejected; None while nobody decided."""
    amendment_id: int | None = None


@dataclass(frozen=True, slots=True)
class ResultFilter:
    """Which results are wanted; None asks for all."""

    sample_ids: tuple[int, ...] | None = None
    quantity: str | None = None
    method_id: int | None = None
    instrument: str | None = None
    from_us: int | None = None
    to_us: int | None = None
    """Exclusive. [µs]"""


@dataclass(frozen=True, slots=True)
class Change:
    """Something that was done to a result: by whom, when and why."""

    number: int
    what: str
    actor: str
    at_us: int
    reason: str | None


def results_after(
    connection: Connection, wanted: ResultFilter, *, after: int = 0, limit: int = 1000
) -> list[CurrentResult]:
    """Return results in the order of their ids, from the one after `after` on, as they stand now."""
    query = _filtered(wanted).where(result.c.number > after).order_by(result.c.number).limit(limit)
    return _as_they_stand(connection, connection.execute(query).all())


def newest_results(
    connection: Connection, wanted: ResultFilter, *, before: int | None = None, limit: int = 100
) -> list[CurrentResult]:
    """Return results as they stand now, the newest first; `before` an id, for what lies further back."""
    query = _filtered(wanted)
    if before is not None:
        query = query.where(result.c.number < before)
    rows = connection.execute(query.order_by(result.c.number.desc()).limit(limit)).all()
    return _as_they_stand(connection, rows)


def results_by_id(
    connection: Connection, ids: Iterable[int], *, up_to: int | None = None
) -> list[CurrentResult]:
    """Return results in the order of their ids, as they stand now, or stood after the entry `up_to`."""
    wanted = sorted(set(ids))
    found: list[CurrentResult] = []
    for start in range(0, len(wanted), _A_QUERY):
        query = _filtered(ResultFilter()).where(result.c.number.in_(wanted[start : start + _A_QUERY]))
        rows = connection.execute(query.order_by(result.c.number)).all()
        found += _as_they_stand(connection, rows, up_to)
    return found


def ids_changed_since(connection: Connection, since: int, limit: int) -> list[int]:
    """Return the ids of results that any entry after `since` touched, oldest first."""
    touched = union(
        select(result.c.number.label("id")).where(result.c.number > since),
        select(standing.c.result_id).where(standing.c.number > since),
        select(release.c.result_id).where(release.c.number > since),
        select(amendment_item.c.result_id)
        .join(amendment_state, amendment_state.c.amendment_id == amendment_item.c.amendment_id)
        .where(amendment_state.c.number > since),
        results_tied_since(since),
    ).subquery()
    return list(connection.execute(select(touched.c.id).order_by(touched.c.id).limit(limit)).scalars())


def methods_measured(connection: Connection, sample_id: int, item_id: int) -> set[int]:
    """Return the ids of the methods by which a sample has results from its place on a tray."""
    query = select(result.c.method_id).distinct()
    query = query.where(result.c.sample_id == sample_id, result.c.item_id == item_id)
    return set(connection.execute(query).scalars())


def original_result(connection: Connection, result_id: int) -> CurrentResult | None:
    """Return a result as it was first made."""
    query = _filtered(ResultFilter()).where(result.c.number == result_id)
    row = connection.execute(query).one_or_none()
    return None if row is None else _original(row)


def sources_of_result(connection: Connection, result_id: int, version: int) -> list[Source]:
    """Return what a version of a result stood on."""
    query = (
        select(
            result_input.c.role,
            result_input.c.source,
            result_input.c.source_id,
            result_input.c.source_version,
        )
        .where(result_input.c.result_id == result_id, result_input.c.version == version)
        .order_by(result_input.c.ordinal)
    )
    return [Source(*row) for row in connection.execute(query)]


def results_under(connection: Connection, ids: Sequence[int]) -> dict[int, list[Source]]:
    """Return, by the id of a result, the results that its original stood on, for at most some hundred ids."""
    query = (
        select(
            result_input.c.result_id,
            result_input.c.role,
            result_input.c.source,
            result_input.c.source_id,
            result_input.c.source_version,
        )
        .where(
            result_input.c.result_id.in_(ids), result_input.c.version == 1, result_input.c.source == "result"
        )
        .order_by(result_input.c.result_id, result_input.c.ordinal)
    )
    found: dict[int, list[Source]] = {}
    for result_id, *source in connection.execute(query):
        found.setdefault(result_id, []).append(Source(*source))
    return found


def results_standing_on(connection: Connection, source: str, source_ids: Sequence[int]) -> list[int]:
    """Return the ids of results of which a version stands on something, oldest first."""
    query = (
        select(result_input.c.result_id)
        .where(result_input.c.source == source, result_input.c.source_id.in_(source_ids))
        .distinct()
    )
    return sorted(connection.execute(query).scalars())


def results_by_method_version(connection: Connection, method_id: int, version: int) -> list[int]:
    """Return the ids of the results that were made by one version of a method, oldest first."""
    query = select(result.c.number).where(result.c.method_id == method_id, result.c.method_version == version)
    return sorted(connection.execute(query).scalars())


def readings_with_results(connection: Connection, reading_ids: Sequence[int]) -> set[int]:
    """Return those of some readings that a result stands on."""
    query = select(result_input.c.source_id).where(
        result_input.c.source == "reading", result_input.c.source_id.in_(reading_ids)
    )
    return set(connection.execute(query).scalars())


def history_of_result(connection: Connection, result_id: int) -> list[Change]:
    """Return everything that was done to a result, oldest first."""
    touched = union(
        select(result.c.number.label("number")).where(result.c.number == result_id),
        select(standing.c.number).where(standing.c.result_id == result_id),
        select(release.c.number).where(release.c.result_id == result_id),
        select(amendment_state.c.number)
        .join(amendment_item, amendment_item.c.amendment_id == amendment_state.c.amendment_id)
        .where(amendment_item.c.result_id == result_id),
        ties_of_result(result_id),
    ).subquery()
    query = (
        select(ledger.c.number, ledger.c.action, ledger.c.actor, ledger.c.at_us, ledger.c.reason)
        .join(touched, touched.c.number == ledger.c.number)
        .order_by(ledger.c.number)
    )
    return [Change(*row) for row in connection.execute(query)]


def newest_version(connection: Connection, result_id: int) -> int:
    """Return the highest version of a result, in force or not."""
    query = select(func.max(amendment_item.c.version)).where(amendment_item.c.result_id == result_id)
    return connection.execute(query).scalar() or 1


def _filtered(wanted: ResultFilter) -> Select[Any]:
    query = select(result)
    if wanted.sample_ids is not None:
        query = query.where(is_of_samples(wanted.sample_ids))
    for column, value in (
        (result.c.quantity, wanted.quantity),
        (result.c.method_id, wanted.method_id),
        (result.c.instrument, wanted.instrument),
    ):
        if value is not None:
            query = query.where(column == value)
    if wanted.from_us is not None:
        query = query.where(result.c.at_us >= wanted.from_us)
    if wanted.to_us is not None:
        query = query.where(result.c.at_us < wanted.to_us)
    return query


def _original(row: Any) -> CurrentResult:
    return CurrentResult(
        result_id=row.number,
        version=1,
        revision=row.number,
        sample_id=row.sample_id,
        item_id=row.item_id,
        quantity=row.quantity,
        method_id=row.method_id,
        method_version=row.method_version,
        instrument=row.instrument,
        at_us=row.at_us,
        outcome=row.outcome,
        value_numeral=row.value_numeral,
        value=row.value,
        unit=row.unit,
        basis=row.basis,
        end_point=row.end_point,
        uncertainty=row.uncertainty,
        formula=row.formula,
        inputs=row.inputs,
        run_id=row.run_id,
        replicate_of=row.replicate_of,
        hand=bool(row.hand),
        software_version=row.software_version,
        source=row.source,
    )


def _as_they_stand(
    connection: Connection, rows: Sequence[Any], up_to: int | None = None
) -> list[CurrentResult]:
    found = {row.number: _original(row) for row in rows}
    ids = list(found)
    for start in range(0, len(ids), _A_QUERY):
        some = ids[start : start + _A_QUERY]
        _amend(connection, found, some, up_to)
        _tie(connection, found, some, up_to)
        _judge(connection, found, some, up_to)
    return list(found.values())


def _amend(
    connection: Connection, found: dict[int, CurrentResult], ids: Sequence[int], up_to: int | None
) -> None:
    """Put the value of the newest amendment in force in place of the original."""
    state = _newest(amendment_state, amendment_state.c.amendment_id, up_to)
    query = (
        select(amendment_item, state.c.number.label("since"), state.c.state)
        .join(amendment, amendment.c.number == amendment_item.c.amendment_id)
        .join(state, state.c.amendment_id == amendment.c.number)
        .where(amendment_item.c.result_id.in_(ids))
        .order_by(amendment_item.c.result_id, amendment_item.c.version)
    )
    for row in connection.execute(query):
        before = found[row.result_id]
        revision = max(before.revision, row.since)
        if row.state != "in_force":
            found[row.result_id] = replace(before, revision=revision)
            continue
        found[row.result_id] = replace(
            before,
            version=row.version,
            revision=revision,
            sample_id=row.sample_id,
            outcome=row.outcome,
            value_numeral=row.value_numeral,
            value=row.value,
            unit=row.unit,
            uncertainty=row.uncertainty,
            formula=row.formula,
            inputs=row.inputs,
            amendment_id=row.amendment_id,
        )


def _tie(
    connection: Connection, found: dict[int, CurrentResult], ids: Sequence[int], up_to: int | None
) -> None:
    """Put the sample of the newest tie that a person made in place of the one a result was made for."""
    for row in newest_ties(connection, ids, up_to):
        before = found[row.result_id]
        # A tie that stood when the result was made is in it already, and is no change of it.
        revision = max(before.revision, row.number) if row.number > row.result_id else before.revision
        found[row.result_id] = replace(before, sample_id=row.sample_id, revision=revision)


def _judge(
    connection: Connection, found: dict[int, CurrentResult], ids: Sequence[int], up_to: int | None
) -> None:
    for row in connection.execute(_newest_of(standing, standing.c.result_id, ids, up_to)):
        before = found[row.result_id]
        found[row.result_id] = replace(
            before,
            standing=row.standing,
            reasons=row.reasons,
            revision=max(before.revision, row.number),
        )
    for row in connection.execute(_newest_of(release, release.c.result_id, ids, up_to)):
        before = found[row.result_id]
        found[row.result_id] = replace(before, mark=row.mark, revision=max(before.revision, row.number))


def _newest(table: Any, key: Any, up_to: int | None) -> Any:
    """Select the newest row of each key of a table, as a subquery."""
    last: Any = select(key.label("key"), func.max(table.c.number).label("last")).group_by(key)
    last = (last if up_to is None else last.where(table.c.number <= up_to)).subquery()
    return select(table).join(last, and_(last.c.key == key, last.c.last == table.c.number)).subquery()


def _newest_of(table: Any, key: Any, ids: Sequence[int], up_to: int | None) -> Select[Any]:
    last: Any = select(key.label("key"), func.max(table.c.number).label("last")).where(key.in_(ids))
    last = last.group_by(key)
    last = (last if up_to is None else last.where(table.c.number <= up_to)).subquery()
    return select(table).join(last, and_(last.c.key == key, last.c.last == table.c.number))


def results_in_scope(
    connection: Connection,
    *,
    from_us: int,
    to_us: int | None,
    instrument: str | None = None,
    method_id: int | None = None,
) -> list[int]:
    """Return the ids of results measured in a stretch of time, of an instrument or a method if named. [µs]"""
    query = select(result.c.number).where(result.c.at_us >= from_us)
    if to_us is not None:
        query = query.where(result.c.at_us <= to_us)
    scope = [
        column == value
        for column, value in ((result.c.instrument, instrument), (result.c.method_id, method_id))
        if value is not None
    ]
    if scope:
        query = query.where(or_(*scope))
    return list(connection.execute(query.order_by(result.c.number)).scalars())

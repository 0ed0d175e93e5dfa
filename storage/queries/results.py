"""Results as they stand now: value of the newest amendment in force, newest standing, newest mark.

Original rows are never changed; what is current is worked out here and nowhere else.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from sqlalchemy import Connection, bindparam, func, or_, select, union

from storage.queries.control_records import Source
from storage.queries.result_statements import (
    AMENDED,
    BY_ID,
    FOR_EVER,
    ResultFilter,
    as_judged,
    asked,
    newest_as_judged,
    newest_ids,
    values,
)
from storage.queries.tied_results import newest_ties, results_tied_since, ties_of_result
from storage.schema import (
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
_PAGE: Final = 1000
"""Results asked for at a time."""


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
    rows = connection.execute(as_judged(*asked(wanted)), {**values(wanted), "after": after, "limit": limit})
    return _as_they_stand(connection, rows.all())


def newest_results(
    connection: Connection, wanted: ResultFilter, *, before: int | None = None, limit: int = 100
) -> list[CurrentResult]:
    """Return results as they stand now, the newest first; `before` an id, for what lies further back."""
    given = {**values(wanted), "before": FOR_EVER if before is None else before, "limit": limit}
    return _as_they_stand(connection, connection.execute(newest_as_judged(*asked(wanted)), given).all())


def results_by_id(
    connection: Connection, ids: Iterable[int], *, up_to: int | None = None
) -> list[CurrentResult]:
    """Return results in the order of their ids, as they stand now, or stood after the entry `up_to`."""
    wanted = sorted(set(ids))
    last = FOR_EVER if up_to is None else up_to
    found: list[CurrentResult] = []
    for start in range(0, len(wanted), _A_QUERY):
        some = {"ids": wanted[start : start + _A_QUERY], "up_to": last}
        found += _as_they_stand(connection, connection.execute(BY_ID, some).all(), last)
    return found


def results_of_samples(connection: Connection, sample_ids: Iterable[int]) -> dict[int, list[CurrentResult]]:
    """Return every result of some samples as it stands now, by sample, in the order of their ids."""
    ids = sorted(set(sample_ids))
    found: dict[int, list[CurrentResult]] = {one: [] for one in ids}
    for start in range(0, len(ids), _A_QUERY):
        wanted = ResultFilter(sample_ids=tuple(ids[start : start + _A_QUERY]))
        for one in _every(connection, wanted):
            if one.sample_id is not None:
                found.setdefault(one.sample_id, []).append(one)
    return found


def _every(connection: Connection, wanted: ResultFilter) -> Iterator[CurrentResult]:
    """Yield results in the order of their ids, however many there are."""
    after: int | None = 0
    while after is not None:
        page = results_after(connection, wanted, after=after, limit=_PAGE)
        yield from page
        after = page[-1].result_id if len(page) == _PAGE else None


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


_MEASURED: Final = (
    select(result.c.method_id)
    .distinct()
    .where(result.c.sample_id == bindparam("sample_id"), result.c.item_id == bindparam("item_id"))
)


def methods_measured(connection: Connection, sample_id: int, item_id: int) -> set[int]:
    """Return the ids of the methods by which a sample has results from its place on a tray."""
    found = connection.execute(_MEASURED, {"sample_id": sample_id, "item_id": item_id})
    return set(found.scalars())


def original_result(connection: Connection, result_id: int) -> CurrentResult | None:
    """Return a result as it was first made."""
    row = connection.execute(select(result).where(result.c.number == result_id)).one_or_none()
    return None if row is None else _original(row)


_SOURCE: Final = (
    result_input.c.role,
    result_input.c.source,
    result_input.c.source_id,
    result_input.c.source_version,
)
_SOURCES: Final = (
    select(*_SOURCE)
    .where(result_input.c.result_id == bindparam("id"), result_input.c.version == bindparam("version"))
    .order_by(result_input.c.ordinal)
)
_UNDER: Final = (
    select(result_input.c.result_id, *_SOURCE)
    .where(
        result_input.c.result_id.in_(bindparam("ids", expanding=True)),
        result_input.c.version == 1,
        result_input.c.source == "result",
    )
    .order_by(result_input.c.result_id, result_input.c.ordinal)
)
_STANDING_ON: Final = (
    select(result_input.c.result_id)
    .where(
        result_input.c.source == bindparam("source"),
        result_input.c.source_id.in_(bindparam("ids", expanding=True)),
    )
    .distinct()
)


def sources_of_result(connection: Connection, result_id: int, version: int) -> list[Source]:
    """Return what a version of a result stood on."""
    rows = connection.execute(_SOURCES, {"id": result_id, "version": version})
    return [Source(*row) for row in rows]


def results_under(connection: Connection, ids: Sequence[int]) -> dict[int, list[Source]]:
    """Return, by the id of a result, the results that its original stood on, for at most some hundred ids."""
    found: dict[int, list[Source]] = {}
    for result_id, *source in connection.execute(_UNDER, {"ids": ids}):
        found.setdefault(result_id, []).append(Source(*source))
    return found


def results_standing_on(connection: Connection, source: str, source_ids: Sequence[int]) -> list[int]:
    """Return the ids of results of which a version stands on something, oldest first."""
    return sorted(connection.execute(_STANDING_ON, {"source": source, "ids": source_ids}).scalars())


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
    return newest_versions(connection, [result_id])[result_id]


_VERSIONS: Final = (
    select(amendment_item.c.result_id, func.max(amendment_item.c.version).label("newest"))
    .where(amendment_item.c.result_id.in_(bindparam("ids", expanding=True)))
    .group_by(amendment_item.c.result_id)
)


def newest_versions(connection: Connection, ids: Sequence[int]) -> dict[int, int]:
    """Return the highest version of each of some hundred results, in force or not."""
    rows = connection.execute(_VERSIONS, {"ids": ids})
    return dict.fromkeys(ids, 1) | {row.result_id: row.newest for row in rows}


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


def _as_judged(row: Any) -> CurrentResult:
    return replace(
        _original(row),
        revision=max(row.number, row.judged or 0, row.marked or 0),
        standing=row.standing,
        reasons=row.reasons or "[]",
        mark=row.mark,
    )


def _as_they_stand(connection: Connection, rows: Sequence[Any], up_to: int = FOR_EVER) -> list[CurrentResult]:
    found = {row.number: _as_judged(row) for row in rows}
    ids = list(found)
    for start in range(0, len(ids), _A_QUERY):
        some = ids[start : start + _A_QUERY]
        _amend(connection, found, some, up_to)
        _tie(connection, found, some, up_to)
    return list(found.values())


def _amend(connection: Connection, found: dict[int, CurrentResult], ids: Sequence[int], up_to: int) -> None:
    """Put the value of the newest amendment in force in place of the original."""
    for row in connection.execute(AMENDED, {"ids": ids, "up_to": up_to}):
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


def _tie(connection: Connection, found: dict[int, CurrentResult], ids: Sequence[int], up_to: int) -> None:
    """Put the sample of the newest tie that a person made in place of the one a result was made for."""
    for row in newest_ties(connection, ids, up_to):
        before = found[row.result_id]
        # A tie that stood when the result was made is in it already, and is no change of it.
        revision = max(before.revision, row.number) if row.number > row.result_id else before.revision
        found[row.result_id] = replace(before, sample_id=row.sample_id, revision=revision)


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


def newest_in_extent(
    connection: Connection, extent: Mapping[str, Any], *, before: int | None, limit: int
) -> list[int]:
    """Return the newest ids before one, of an `amendment_id` or as :func:`results_in_scope` has them.

    Otherwise `extent` tells some of `from_us`, `to_us`, `instrument` and `method_id`. [µs]
    """
    given = {**extent, "before": FOR_EVER if before is None else before, "limit": limit}
    return list(connection.execute(newest_ids(*extent), given).scalars())

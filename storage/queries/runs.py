"""Titrations while they run and after: their points, warnings and notes."""

from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, and_, bindparam, or_, select

from storage.queries.notices import NoticeFilter, PointRecord, points_after
from storage.schema import curve_point, ledger, result, run, run_end, run_note, run_warning

_PAGE: Final = 1000
"""Points asked for at a time."""


@dataclass(frozen=True, slots=True)
class Run:
    """A run as it stands now."""

    number: int
    instrument: str
    started_at_us: int
    first_point: tuple[int, int]
    """Number and ordinal."""
    item_id: int | None
    sample_id: int | None
    method_id: int | None
    method_version: int | None
    ended_at_us: int | None = None
    how: str | None = None
    """ended, aborted, lost or timed_out; None while it runs."""
    last_point: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class RunWarning:
    """What a check of the running curve found."""

    number: int
    at_us: int
    code: str
    evidence: str


@dataclass(frozen=True, slots=True)
class RunNote:
    """What a person said of a run."""

    number: int
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One signal at one point of a curve."""

    number: int
    ordinal: int
    at_us: int
    volume_ml: float | None
    signal_quantity: str
    signal: float | None
    signal_unit: str
    temperature_c: float | None
    elapsed_s: float | None


_RUNS: Final = select(
    run,
    run_end.c.ended_at_us,
    run_end.c.how,
    run_end.c.last_point_number,
    run_end.c.last_point_ordinal,
).outerjoin(run_end, run_end.c.run_id == run.c.number)
_RUN: Final = _RUNS.where(run.c.number == bindparam("id"))
_RUNNING: Final = _RUNS.where(run_end.c.number.is_(None)).order_by(run.c.number)
_BEFORE: Final = (
    _RUNS.where(run.c.instrument == bindparam("instrument"), run.c.first_point_number < bindparam("number"))
    .order_by(run.c.number.desc())
    .limit(1)
)
_SEQUENCE: Final = select(curve_point.c.sequence).where(curve_point.c.number == bindparam("number")).limit(1)
_WARNINGS: Final = (
    select(run_warning)
    .where(run_warning.c.run_id == bindparam("id"))
    .order_by(run_warning.c.number, run_warning.c.ordinal)
)
_NOTES: Final = select(run_note).where(run_note.c.run_id == bindparam("id")).order_by(run_note.c.number)


def run_of(connection: Connection, number: int) -> Run | None:
    """Return one run."""
    row = connection.execute(_RUN, {"id": number}).one_or_none()
    return None if row is None else _as_run(row)


def runs_after(
    connection: Connection, *, after: int = 0, instrument: str | None = None, limit: int = 1000
) -> list[Run]:
    """Return runs in the order in which they began."""
    query = _RUNS.where(run.c.number > after)
    if instrument is not None:
        query = query.where(run.c.instrument == instrument)
    return [_as_run(row) for row in connection.execute(query.order_by(run.c.number).limit(limit))]


def running(connection: Connection) -> list[Run]:
    """Return the runs that have not ended."""
    return list(map(_as_run, connection.execute(_RUNNING)))


def run_warnings(connection: Connection, number: int) -> list[RunWarning]:
    """Return what the checks of a running curve found, oldest first."""
    rows = connection.execute(_WARNINGS, {"id": number})
    return [RunWarning(row.number, row.at_us, row.code, row.evidence) for row in rows]


def run_notes(connection: Connection, number: int) -> list[RunNote]:
    """Return what people said of a run, oldest first."""
    rows = connection.execute(_NOTES, {"id": number})
    return [RunNote(row.number, row.kind, row.text) for row in rows]


def points_of_run(connection: Connection, of: Run, *, after: tuple[int, int] = (0, 0)) -> list[CurvePoint]:
    """Return the points of a run in their order, from the one after `after` on."""
    begin = max(of.first_point, (after[0], after[1] + 1))
    key = (curve_point.c.number, curve_point.c.ordinal)
    query = select(curve_point).where(
        curve_point.c.instrument == of.instrument,
        or_(key[0] > begin[0], and_(key[0] == begin[0], key[1] >= begin[1])),
    )
    if of.last_point is not None:
        last = of.last_point
        query = query.where(or_(key[0] < last[0], and_(key[0] == last[0], key[1] <= last[1])))
    return [_as_point(row) for row in connection.execute(query.order_by(*key))]


def _as_run(row: Any) -> Run:
    ended = row.last_point_number is not None
    return Run(
        number=row.number,
        instrument=row.instrument,
        started_at_us=row.started_at_us,
        first_point=(row.first_point_number, row.first_point_ordinal),
        item_id=row.item_id,
        sample_id=row.sample_id,
        method_id=row.method_id,
        method_version=row.method_version,
        ended_at_us=row.ended_at_us,
        how=row.how,
        last_point=(row.last_point_number, row.last_point_ordinal) if ended else None,
    )


def _as_point(row: Any) -> CurvePoint:
    return CurvePoint(
        row.number,
        row.ordinal,
        row.at_us,
        row.volume_ml,
        row.signal_quantity,
        row.signal,
        row.signal_unit,
        row.temperature_c,
        row.elapsed_s,
    )


def points_between(connection: Connection, instrument: str, first: int, last: int) -> list[PointRecord]:
    """Return the points of an instrument from one ledger number to another, with all their signals."""
    wanted = NoticeFilter(instrument=instrument)
    found: list[PointRecord] = []
    while True:
        after = found[-1].number if found else first - 1
        page = points_after(connection, wanted, after=after, limit=_PAGE)
        found += [one for one in page if one.number <= last]
        if len(page) < _PAGE or page[-1].number > last:
            return found


def last_point(connection: Connection, of: Run) -> tuple[int, int]:
    """Return number and ordinal of the newest point of a run."""
    points = points_of_run(connection, of)
    return (points[-1].number, points[-1].ordinal) if points else of.first_point


def run_before(connection: Connection, instrument: str, number: int) -> tuple[Run, str | None] | None:
    """Return the newest run of an instrument that began before a ledger number, with its own sequence."""
    row = connection.execute(_BEFORE, {"instrument": instrument, "number": number}).one_or_none()
    if row is None:
        return None
    found = _as_run(row)
    first = connection.execute(_SEQUENCE, {"number": found.first_point[0]})
    return found, first.scalar_one_or_none()


def results_of_run(connection: Connection, number: int) -> list[int]:
    """Return the ids of the results that a run gave, oldest first."""
    found = run_of(connection, number)
    if found is None:
        return []
    query = select(result.c.number).where(
        result.c.instrument == found.instrument,
        result.c.at_us >= found.started_at_us,
        result.c.run_id == number,
    )
    return sorted(connection.execute(query).scalars())


def noted(connection: Connection, number: int) -> list[tuple[RunNote, str, int]]:
    """Return what people said of a run, oldest first, with who and when. [µs]"""
    query = (
        select(run_note, ledger.c.actor, ledger.c.at_us)
        .join(ledger, ledger.c.number == run_note.c.number)
        .where(run_note.c.run_id == number)
        .order_by(run_note.c.number)
    )
    return [
        (RunNote(row.number, row.kind, row.text), row.actor, row.at_us) for row in connection.execute(query)
    ]

"""What is known of a running titration, and what happens with each thing that its instrument says."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from sqlalchemy import Connection

from bench.canonical_json import from_text, to_text
from bench.kinds.laboratory import Method
from bench.records import Record, by_id, find
from bench.tray import tests_of
from evaluate.errors import EvaluateError
from evaluate.live_curve import LiveFinding, LiveLimits, LiveReading, LiveState, watch
from storage.bench_rows import RunEndRow, RunRow, RunWarningRow
from storage.queries.notices import PointRecord, ReportRecord
from storage.queries.records import record_by_code
from storage.queries.runs import Run, points_between
from storage.queries.trays import on_instrument_at, tray_item_by_id
from storage.rows import Row


class Begun(NamedTuple):
    """A run began with a point."""

    instrument: str
    row: RunRow


class Warned(NamedTuple):
    """Something looks wrong with a running curve."""

    instrument: str
    at_us: int
    finding: LiveFinding


class Ended(NamedTuple):
    """A run ended, or was given up."""

    instrument: str
    at_us: int
    how: str
    last: tuple[int, int]
    detail: str | None = None


Happening = Begun | Warned | Ended


@dataclass(frozen=True, slots=True)
class LiveRun:
    """What is known of a run while it runs."""

    instrument: str
    sequence: str | None
    begun_us: int
    limits: LiveLimits
    signal: str
    """Quantity of the signal that is watched; the first of a point if empty."""
    last: tuple[int, int]
    last_us: int
    state: LiveState = field(default_factory=LiveState)
    run_id: int | None = None
    """None until it is entered."""


def begun(
    connection: Connection, point: PointRecord, announced: ReportRecord | None
) -> tuple[LiveRun, RunRow]:
    """Return the run that begins with a point: whose it is by its frames, else by what stands there."""
    said = {} if announced is None else from_text(announced.body)
    on = on_instrument_at(connection, point.instrument, point.at_us)
    item = None if on is None or on.item_id is None else tray_item_by_id(connection, on.item_id)
    named = point.sample or said.get("sample")
    sample = record_by_code(connection, "sample", named) if named else None
    mode = point.mode or said.get("mode")
    asked = [] if item is None else [find(connection, Method, code) for code in tests_of(item)]
    fitting = [one for one in asked if not one.body.modes or mode is None or mode in one.body.modes]
    method = fitting[0] if len(fitting) == 1 else None
    sample_id = sample.record_id if sample is not None else None if on is None else on.sample_id
    row = RunRow(
        point.instrument,
        point.at_us,
        point.number,
        0,
        None if item is None else item.item_id,
        sample_id,
        None if method is None else method.record_id,
        None if method is None else method.version.version,
    )
    run = LiveRun(
        point.instrument,
        point.sequence,
        point.at_us,
        limits_of(method),
        "" if method is None else method.body.signal,
        (point.number, 0),
        point.at_us,
    )
    return run, row


def limits_of(method: Record[Method] | None) -> LiveLimits:
    """Return what a running titration must keep to by its method; only a lost signal is told without one."""
    return LiveLimits() if method is None else method.body.limits_while_running()


def watched(run: LiveRun, point: PointRecord) -> tuple[LiveRun, tuple[LiveFinding, ...]]:
    """Take one more point of a run, and return what begins to look wrong with it."""
    moved = replace(run, last=(point.number, max(0, len(point.signals) - 1)), last_us=point.at_us)
    if point.volume_ml is None:
        return moved, ()
    values = [one.value for one in point.signals if run.signal in ("", one.quantity)]
    signal = values[0] if values and values[0] is not None else math.nan
    since_s = (point.at_us - run.begun_us) / 1e6 if point.elapsed_s is None else point.elapsed_s
    try:
        state, found = watch(run.state, run.limits, LiveReading(since_s, point.volume_ml, signal))
    except EvaluateError:
        return moved, ()  # a clock that goes back, or no volume that can be: the point is kept, not watched
    return replace(moved, state=state), found


def rebuilt(connection: Connection, of: Run, upto: int) -> LiveRun:
    """Return what is known of a run by its points up to a ledger number, as when the daemon ended."""
    method = None if of.method_id is None else by_id(connection, Method, of.method_id, of.method_version)
    points = points_between(connection, of.instrument, of.first_point[0], upto)
    run = LiveRun(
        of.instrument,
        points[0].sequence if points else None,
        of.started_at_us,
        limits_of(method),
        "" if method is None else method.body.signal,
        of.first_point,
        of.started_at_us,
        run_id=of.number,
    )
    for point in points:
        run, _ = watched(run, point)
    return run


def rows_of(one: Happening, run_id: int | None) -> tuple[str, dict[str, Sequence[Row]]]:
    """Return the action and the rows under which a happening is entered."""
    if isinstance(one, Begun):
        return "run.begun", {"run": [one.row]}
    assert run_id is not None  # noqa: S101 - it was entered when it began
    if isinstance(one, Warned):
        evidence = {
            "words": one.finding.words,
            "time_s": one.finding.time_s,
            "volume_ml": one.finding.volume_ml,
        }
        row = RunWarningRow(0, run_id, one.at_us, one.finding.warning.name.lower(), to_text(evidence))
        return "run.warned", {"run_warning": [row]}
    return "run.ended", {"run_end": [RunEndRow(run_id, one.at_us, one.how, *one.last, one.detail)]}

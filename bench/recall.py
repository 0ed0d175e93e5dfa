"""Which results stood on a bottle: as titrant, reagent, standard, buffer or control material."""

from collections.abc import Iterator
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.canonical_json import from_text
from bench.kinds.laboratory import Reagent
from bench.parts import dependents
from bench.records import find
from storage.queries.control_records import ControlRecord, control_records, latest_control_record
from storage.queries.records import versions_naming
from storage.queries.results import (
    CurrentResult,
    results_by_id,
    results_by_method_version,
    results_in_scope,
    results_standing_on,
)

MOST: Final = 100_000  # control records of one bottle looked at
OF_AN_INSTRUMENT: Final = frozenset({"calibration", "verification"})
"""Records that speak for what the instrument measured until the next of their kind."""


class Recalled(NamedTuple):
    """A result that stood on a bottle, and how."""

    of: CurrentResult
    ways: tuple[str, ...]
    """In plain words, such as ``titrant`` or ``calibration 41 with it``."""


class Recall(NamedTuple):
    """Everything that stood on a bottle."""

    records: tuple[ControlRecord, ...]
    results: tuple[Recalled, ...]


def recall(
    connection: Connection, code: str, *, from_us: int | None = None, to_us: int | None = None
) -> Recall:
    """Return every control record and result that stood on a bottle, in a stretch of time if given. [µs]

    Results that were worked out from recalled ones are recalled with them.
    """
    bottle_id = find(connection, Reagent, code).record_id
    records = tuple(_records_with(connection, bottle_id, code))
    ways: dict[int, list[str]] = {}
    for result_id, way in (
        *_by_evidence(connection, bottle_id),
        *_by_records(connection, records),
        *_by_methods(connection, bottle_id),
    ):
        known = ways.setdefault(result_id, [])
        if way not in known:
            known.append(way)
    _add_followers(connection, ways)
    found = [
        Recalled(of, tuple(ways[of.result_id]))
        for of in results_by_id(connection, ways)
        if (from_us is None or of.at_us >= from_us) and (to_us is None or of.at_us < to_us)
    ]
    return Recall(records, tuple(found))


def _records_with(connection: Connection, bottle_id: int, code: str) -> Iterator[ControlRecord]:
    """Yield the control records of a bottle, and the calibrations in which it was one of the buffers."""
    yield from control_records(connection, subject_id=bottle_id, limit=MOST)
    for one in control_records(connection, kind="calibration", limit=MOST):
        points = from_text(one.details).get("points", ())
        if any(point.get("buffer") == code for point in points):
            yield one


def _by_evidence(connection: Connection, bottle_id: int) -> Iterator[tuple[int, str]]:
    for result_id in results_standing_on(connection, "record", [bottle_id]):
        yield result_id, "titrant"


def _by_records(connection: Connection, records: tuple[ControlRecord, ...]) -> Iterator[tuple[int, str]]:
    for one in records:
        for result_id in results_standing_on(connection, "control_record", [one.number]):
            yield result_id, f"{one.kind} {one.number}"
        if one.kind in OF_AN_INSTRUMENT and one.instrument is not None:
            for result_id in _until_the_next(connection, one):
                yield result_id, f"measured after {one.kind} {one.number}"


def _until_the_next(connection: Connection, one: ControlRecord) -> list[int]:
    later = control_records(
        connection, kind=one.kind, instrument=one.instrument, from_us=one.at_us + 1, limit=MOST
    )
    until_us = min((other.at_us for other in later), default=None)
    end_us = None if until_us is None else until_us - 1
    ids = results_in_scope(connection, from_us=one.at_us, to_us=end_us, instrument=one.instrument)
    return [of.result_id for of in results_by_id(connection, ids) if _is_newest_at(connection, one, of)]


def _is_newest_at(connection: Connection, one: ControlRecord, of: CurrentResult) -> bool:
    found = latest_control_record(connection, one.kind, of.at_us, instrument=one.instrument)
    return found is not None and found.number == one.number


def _by_methods(connection: Connection, bottle_id: int) -> Iterator[tuple[int, str]]:
    """Yield results of the versions of methods that name the bottle as a reagent or a check."""
    for role, word in (("reagents", "reagent of its method"), ("checks", "check of its method")):
        for method_id, version in versions_naming(connection, bottle_id, role):
            for result_id in results_by_method_version(connection, method_id, version):
                yield result_id, word


def _add_followers(connection: Connection, ways: dict[int, list[str]]) -> None:
    new = list(ways)
    while new:
        found = [one for one in dependents(connection, new) if one not in ways]
        for one in found:
            ways[one] = ["worked out from one of these"]
        new = found

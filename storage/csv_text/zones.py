"""Local time by the name of a zone: when its clocks change, for Python and as expressions of a database."""

import bisect
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import Integer, String, literal_column

from storage.csv_text.dialects import Column, Kind, Offset

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_LAST_S: Final = 7_258_118_400  # 2200-01-01; the rules of today are used until then [s since 1970 UTC]
_STEP_S: Final = 14 * 86_400  # no zone changes its clocks twice within it [s]
UTC_SUFFIX: Final = "_utc"
LOCAL_SUFFIX: Final = "_local"
OFFSET_COLUMN: Final = "utc_offset_min"


class UnknownZoneError(ValueError):
    """There is no zone of that name on this machine."""


class Changes(NamedTuple):
    """When the clocks of a zone change."""

    at_s: tuple[int, ...]
    """Ascending. [s since 1970 UTC]"""
    minutes: tuple[int, ...]
    """Ahead of UTC before each change, and after the last. [min]"""

    def minutes_at(self, at_us: int) -> int:
        """Return how far the zone is ahead of UTC at a moment. [min]"""
        return self.minutes[bisect.bisect_right(self.at_s, at_us // 1_000_000)]


@lru_cache(maxsize=16)
def changes_of(name: str) -> Changes:
    """Return the changes of a zone from 1970 on; raise `UnknownZoneError` if there is none of that name."""
    try:
        zone = ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UnknownZoneError(f"there is no time zone {name!r}; give one like Europe/Berlin") from error

    def minutes(at_s: int) -> int:
        offset = (_EPOCH + timedelta(seconds=at_s)).astimezone(zone).utcoffset()
        return 0 if offset is None else int(offset.total_seconds() // 60)

    at_s, held = [], [minutes(0)]
    for end_s in range(_STEP_S, _LAST_S, _STEP_S):
        if (after := minutes(end_s)) != held[-1]:
            steps = range(end_s - _STEP_S + 1, end_s + 1)
            at_s.append(steps[bisect.bisect_left(steps, 1, key=lambda s: minutes(s) == after)])
            held.append(after)
    return Changes(tuple(at_s), tuple(held))


def offset_text(minutes: int) -> str:
    """Return an offset as RFC 3339 writes it."""
    hours, rest = divmod(abs(minutes), 60)
    return f"{'-' if minutes < 0 else '+'}{hours:02d}:{rest:02d}"


def in_zone(columns: Sequence[Column], zone: str, *, server: bool) -> tuple[Column, ...]:
    """Return the columns with their moments in local time, and behind the first one its offset.

    Parameters
    ----------
    columns : sequence of Column
        Moments among them are columns of tables.
    zone : str
        Name of the zone.
    server : bool
        Whether moments are timestamps of PostgreSQL rather than microseconds of SQLite.
    """
    changes = changes_of(zone)
    shown = tuple(
        replace(column, name=local_name(column.name), offset=_offset(column, changes, server=server))
        if column.kind is Kind.MOMENT
        else column
        for column in columns
    )
    found: list[Column] = []
    for column in shown:
        found.append(column)
        if column.offset is not None and column.name == _first_local(shown):
            found.append(Column(OFFSET_COLUMN, Kind.INTEGER, column.offset.minutes))
    return tuple(found)


def _first_local(columns: Sequence[Column]) -> str | None:
    return next((column.name for column in columns if column.offset is not None), None)


def local_name(name: str) -> str:
    """Return the name of a column of moments once they are in local time."""
    return name.removesuffix(UTC_SUFFIX) + LOCAL_SUFFIX


def _offset(column: Column, changes: Changes, *, server: bool) -> Offset:
    source = f"{column.source.table.name}.{column.source.name}"
    bounds = [
        f"timestamptz '{_EPOCH + timedelta(seconds=at_s):%Y-%m-%d %H:%M:%S}+00'"
        if server
        else f"{at_s}000000"
        for at_s in changes.at_s
    ]
    texts = [f"'{offset_text(minutes)}'" for minutes in changes.minutes]
    return Offset(
        literal_column(_tree(source, bounds, [str(one) for one in changes.minutes]), Integer()),
        literal_column(_tree(source, bounds, texts), String()),
    )


def _tree(source: str, bounds: Sequence[str], leaves: Sequence[str]) -> str:
    """Return SQL that finds the leaf between two bounds in a few comparisons; NULL gives NULL."""
    if not bounds:
        return f"CASE WHEN {source} IS NOT NULL THEN {leaves[0]} END"
    return f"CASE WHEN {source} IS NOT NULL THEN {_branch(source, bounds, leaves)} END"


def _branch(source: str, bounds: Sequence[str], leaves: Sequence[str]) -> str:
    if not bounds:
        return leaves[0]
    middle = len(bounds) // 2
    below = _branch(source, bounds[:middle], leaves[: middle + 1])
    above = _branch(source, bounds[middle + 1 :], leaves[middle + 1 :])
    return f"CASE WHEN {source} < {bounds[middle]} THEN {below} ELSE {above} END"

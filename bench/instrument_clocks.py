"""The clocks of instruments, held against the host's: how far they stand off, and when they go wrong.

An instrument's clock may stand in any zone and drift; that is no fault, and its offset is told with each
reading. A clock that goes back, or stands where no zone can be, is entered once. Rows of files and memories
come long after they were measured, so a clock that only seems late is believed.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import Connection

from storage.queries.readings import UntakenReading, last_with_time
from storage.rows import FaultRow

US_A_SECOND: Final = 1_000_000
BACK_S: Final = 600.0
"""By how much a clock must go back to be told: minutes may be all that it shows. [s]"""
APART_S: Final = 60.0
"""Messages that came closer together than this are of one batch, whose order means nothing. [s]"""
FURTHEST_AHEAD_S: Final = 14 * 3600.0 + BACK_S
"""How far ahead of UTC a right clock can stand: zones reach 14 h. [s]; time zone database, published"""
SOURCE: Final = "instrument clock"


def offset_s(instrument_time: str | None, at_us: int) -> float | None:
    """Return how far an instrument's clock is ahead of the host's, its zone included. [s]

    None where it sent no time, or only a part of one. A time without an offset is taken as it stands.
    """
    said = _moment(instrument_time)
    return None if said is None else said - at_us / US_A_SECOND


def _moment(text: str | None) -> float | None:
    if text is None or "T" not in text:
        return None
    try:
        said = datetime.fromisoformat(text)
    except ValueError:
        return None
    return (said if said.tzinfo else said.replace(tzinfo=UTC)).timestamp()


def troubles(connection: Connection, readings: Iterable[UntakenReading]) -> Iterator[FaultRow]:
    """Yield a row for each clock that goes wrong among readings that follow each other."""
    by_instrument: dict[str, list[UntakenReading]] = {}
    for one in readings:
        if one.instrument_time is not None:
            by_instrument.setdefault(one.instrument, []).append(one)
    for some in by_instrument.values():
        yield from _of_instrument(last_with_time(connection, some[0]), some)


def _of_instrument(before: UntakenReading | None, readings: Sequence[UntakenReading]) -> Iterator[FaultRow]:
    last = before
    for one in readings:
        if (why := _trouble(last, one)) is not None:
            yield FaultRow(None, None, SOURCE, f"{one.instrument}: {why}")
        last = one


def _trouble(last: UntakenReading | None, one: UntakenReading) -> str | None:
    ahead = offset_s(one.instrument_time, one.at_us)
    if ahead is None:
        return None
    was_ahead = None if last is None else offset_s(last.instrument_time, last.at_us)
    if ahead > FURTHEST_AHEAD_S and (was_ahead is None or was_ahead <= FURTHEST_AHEAD_S):
        return f"its clock says {one.instrument_time}, {ahead / 3600:.1f} h ahead of UTC; set it right"
    if last is None or was_ahead is None or (one.at_us - last.at_us) / US_A_SECOND <= APART_S:
        return None
    back_s = (was_ahead + last.at_us / US_A_SECOND) - (ahead + one.at_us / US_A_SECOND)
    if back_s > BACK_S:
        return (
            f"its clock went back from {last.instrument_time} to {one.instrument_time}; it was reset or set, "
            "and its times before and after do not go together"
        )
    return None

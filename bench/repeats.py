"""Messages that an instrument sent again from its memory: known by their identity, counted once.

Identity is the instrument, its own number of the message or else its own time to the second, and everything
the message says. A driver whose messages carry neither marks no repeats: two true replicates with equal
values stay two.
"""

import re
from collections.abc import Iterable, Sequence
from typing import Any, Final, NamedTuple

from sqlalchemy import BindParameter, ColumnElement, Connection, Select, bindparam, exists, select, tuple_

from bench.settle import rules_of
from storage.queries.readings import UntakenReading
from storage.schema import reading

_TO_THE_SECOND: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d.*")
"""A time that names one message: with its date, and to the second."""


class Identity(NamedTuple):
    """What makes a message the same message."""

    instrument: str
    sequence: str | None
    quantity: str
    value_text: str
    outcome: str
    sample: str | None
    instrument_time: str | None
    mode: str | None
    position: int
    """Its place in the message: one that says a quantity twice says it twice."""


def identity(one: UntakenReading) -> Identity | None:
    """Return the identity of a reading; None if its instrument sends none."""
    if one.version != 1 or not names_its_message(one.sequence, one.instrument_time):
        return None
    return Identity(*(getattr(one, name) for name in Identity._fields))


def names_its_message(sequence: str | None, instrument_time: str | None) -> bool:
    """Tell whether a message with this number and time can be known again."""
    return sequence is not None or _TO_THE_SECOND.fullmatch(instrument_time or "") is not None


def repeats(connection: Connection, batch: Sequence[UntakenReading]) -> dict[int, int]:
    """Return, for each reading of a batch that was heard before, the id of the reading it repeats.

    `batch` is in the order of the readings' numbers. Equal messages with one time and no number are repeats
    only if the instrument told a later time between them: two replicates of one second stay two. Values of a
    stream are none: many are equal, and only those count that settle.
    """
    keys = {one.number: key for one in batch if (key := identity(one)) is not None}
    if not keys:
        return {}
    first = _first_before(connection, keys.values(), before=batch[0].number)
    found: dict[int, int] = {}
    for one in batch:
        if one.number in keys and (heard := first.setdefault(keys[one.number], one.reading_id)) != one.number:
            found[one.number] = heard
    by_time = [one for one in batch if one.number in found and one.sequence is None]
    streams = rules_of(connection, {one.instrument for one in by_time}) if by_time else {}
    for one in by_time:
        if (one.instrument, one.quantity) in streams or not _went_on(connection, one, found[one.number]):
            del found[one.number]
    return found


def _first_before(connection: Connection, keys: Iterable[Identity], before: int) -> dict[Identity, int]:
    """Return the first reading of each identity that stands before a number."""
    numbered, timed = set(), set()
    for key in keys:
        if key.sequence is not None:
            numbered.add((key.instrument, key.sequence))
        else:
            timed.add((key.instrument, key.instrument_time))
    found: dict[Identity, int] = {}
    for query, names in ((SAME_NUMBER, sorted(numbered)), (SAME_TIME, sorted(timed))):
        for start in range(0, len(names), _A_QUERY):
            values = {"wanted": names[start : start + _A_QUERY], "before": before}
            for reading_id, *row in connection.execute(query, values):
                found.setdefault(Identity(*row), reading_id)
    return found


def _went_on(connection: Connection, one: UntakenReading, first: int) -> bool:
    """Tell whether an instrument told a later time between a reading and the first one that is its equal."""
    values = {
        "instrument": one.instrument,
        "time": one.instrument_time,
        "first": first,
        "number": one.number,
    }
    return bool(connection.execute(_LATER_BETWEEN, values).scalar())


def _named_again(*named: ColumnElement[Any]) -> Select[Any]:
    """Select first versions of readings with certain names before a number, oldest first."""
    return (
        select(reading.c.reading_id, *(reading.c[name] for name in Identity._fields))
        .where(*named, reading.c.version == 1, reading.c.number < bindparam("before"))
        .order_by(reading.c.number)
    )


_WANTED: Final[BindParameter[Any]] = bindparam("wanted", expanding=True)
SAME_NUMBER: Final = _named_again(
    tuple_(reading.c.instrument, reading.c.sequence).in_(_WANTED),
    reading.c.sequence.is_not(None),  # or SQLite looks through all readings of the instrument
)
"""Readings whose instruments gave them certain numbers."""
SAME_TIME: Final = _named_again(
    tuple_(reading.c.instrument, reading.c.instrument_time).in_(_WANTED),
    reading.c.sequence.is_(None),
    reading.c.instrument_time.is_not(None),
)
"""Readings without a number whose instruments gave them certain times."""
_LATER_BETWEEN: Final = select(
    exists().where(
        reading.c.instrument == bindparam("instrument"),
        reading.c.sequence.is_(None),
        reading.c.instrument_time > bindparam("time"),
        reading.c.number > bindparam("first"),
        reading.c.number < bindparam("number"),
    )
)
_A_QUERY: Final = 200
"""Pairs asked for at a time: SQLite allows 32766 parameters, and a short list plans well."""

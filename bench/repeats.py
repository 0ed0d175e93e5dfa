"""Messages that an instrument sent again from its memory: known by their identity, counted once.

Identity is the instrument, its own number of the message, and everything the message says. A driver whose
messages carry no number marks no repeats: two true replicates with equal values stay two.
"""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from sqlalchemy import Connection, bindparam, select, tuple_

from storage.queries.readings import UntakenReading
from storage.schema import reading


class Identity(NamedTuple):
    """What makes a message the same message."""

    instrument: str
    sequence: str
    quantity: str
    value_text: str
    outcome: str
    sample: str | None
    instrument_time: str | None
    mode: str | None


def identity(one: UntakenReading) -> Identity | None:
    """Return the identity of a reading; None if its instrument sends none."""
    if one.sequence is None or one.version != 1:
        return None
    return Identity(
        one.instrument,
        one.sequence,
        one.quantity,
        one.value_text,
        one.outcome,
        one.sample,
        one.instrument_time,
        one.mode,
    )


def repeats(connection: Connection, batch: Sequence[UntakenReading]) -> dict[int, int]:
    """Return, for each reading of a batch that was heard before, the id of the reading it repeats.

    Within one frame an instrument may send a quantity twice: readings of one ledger entry never repeat each
    other. `batch` is in the order of the readings' numbers.
    """
    numbered = [(one, key) for one in batch if (key := identity(one)) is not None]
    if not numbered:
        return {}
    first = _heard_before(connection, (key for _, key in numbered), before=batch[0].number)
    found: dict[int, int] = {}
    for one, key in numbered:
        if key in first:
            found[one.number] = first[key]
        else:
            first[key] = one.reading_id
    return found


def _heard_before(connection: Connection, keys: Iterable[Identity], before: int) -> dict[Identity, int]:
    """Return the first reading of each identity that stands before a number."""
    wanted = sorted({(key.instrument, key.sequence) for key in keys})
    found: dict[Identity, int] = {}
    for start in range(0, len(wanted), _A_QUERY):
        values = {"wanted": wanted[start : start + _A_QUERY], "before": before}
        for reading_id, *row in connection.execute(SAME_NUMBER, values):
            found.setdefault(Identity(*row), reading_id)
    return found


SAME_NUMBER: Final = (
    select(reading.c.reading_id, *(reading.c[name] for name in Identity._fields))
    .where(
        tuple_(reading.c.instrument, reading.c.sequence).in_(bindparam("wanted", expanding=True)),
        reading.c.sequence.is_not(None),  # or SQLite looks through all readings of the instrument
        reading.c.version == 1,
        reading.c.number < bindparam("before"),
    )
    .order_by(reading.c.number)
)
"""First versions of readings whose instruments gave them certain numbers, oldest first."""
_A_QUERY: Final = 200
"""Pairs asked for at a time: SQLite allows 32766 parameters, and a short list plans well."""

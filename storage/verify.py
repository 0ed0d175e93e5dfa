"""Walk the ledger and name the first row that is not as it was written.

The walk knows no table by name: every row of every append-only table carries the number of its ledger entry,
and the entry's digest covers exactly those rows.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from sqlalchemy import Connection, Table, bindparam, func, or_, select
from sqlalchemy.exc import NoResultFound

from storage import schema_version
from storage.errors import RowError
from storage.guards import guard_faults
from storage.ledger import Entry, Head, digest_of, genesis, link_of
from storage.queries import head, info
from storage.rows import Row
from storage.schema import APPEND_ONLY, ledger

WINDOW: Final = 500
"""Ledger numbers looked at together: bounds memory."""
NEVER: Final = 2**63 - 1
"""Past every number of the ledger."""

Progress = Callable[[int, int], None]
"""Called with how many entries were walked, and how many there are."""


@dataclass(frozen=True, slots=True)
class BadRow:
    """The first thing that is wrong."""

    table: str
    number: int
    what: str

    def __str__(self) -> str:
        return f"{self.table}, number {self.number}: {self.what}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the walk found."""

    entries: int
    """How many entries were in order."""
    head: Head
    """Of the last entry that was in order; write it down elsewhere, to see a removed tail later."""
    first_bad: BadRow | None
    guard_faults: tuple[str, ...] = ()
    """What is wrong with the triggers that keep rows as they were written."""

    @property
    def in_order(self) -> bool:
        """Whether every row is as it was written, and guarded."""
        return self.first_bad is None and not self.guard_faults


def _no_progress(_done: int, _all: int) -> None:
    """Say nothing."""


def verify(
    connection: Connection, *, expected: Head | None = None, progress: Progress = _no_progress
) -> Verdict:
    """Recompute every digest and link, in bounded memory, and look whether every trigger is in its place.

    The triggers of a store whose schema is older than this program are not looked at: they were another's.

    Parameters
    ----------
    connection : Connection
        To the store; only reads.
    expected : Head, optional
        A head that was written down before: the store must still have that entry with that link.
    progress : callable
        Called after each window.
    """
    walked = _walk(connection, expected, progress)
    if schema_version.found(connection) != schema_version.newest():
        return walked
    return replace(walked, guard_faults=tuple(guard_faults(connection)))


def _walk(connection: Connection, expected: Head | None, progress: Progress) -> Verdict:
    last = head(connection)
    try:
        before = genesis(info(connection).store_id)
    except NoResultFound:
        return Verdict(0, Head(0, b""), BadRow("store_info", 1, "the row that names the store is missing"))
    tables = [_Brought(connection, table) for table in APPEND_ONLY]
    for begin in range(1, last + 1, WINDOW):
        end = min(begin + WINDOW, last + 1)
        before, bad = _window(connection, tables, before, (begin, end), expected)
        if bad is not None:
            return Verdict(before.number, before, bad)
        progress(end - 1, last)
    return Verdict(before.number, before, _beyond(connection, last) or _cut_tail(last, expected))


def _window(
    connection: Connection,
    tables: Sequence["_Brought"],
    before: Head,
    window: tuple[int, int],
    expected: Head | None,
) -> tuple[Head, BadRow | None]:
    """Walk the entries of a window (its end exclusive); return the last good head and what is wrong."""
    begin, end = window
    brought = {one.name: rows for one in tables if (rows := one.rows(begin, end))}
    for entry in _ledger_entries(connection, begin, end):
        bad = _judge(before, entry, brought, expected)
        if bad is not None:
            return before, bad
        before = Head(entry.number, entry.link)
    if before.number != end - 1:
        return before, BadRow("ledger", before.number + 1, "the entry is missing")
    return before, None


def _judge(
    before: Head, entry: Entry, brought: dict[str, dict[int, list[Row]]], expected: Head | None
) -> BadRow | None:
    number = entry.number
    if number != before.number + 1:
        return BadRow("ledger", before.number + 1, "the entry is missing")
    rows = {name: of_table[number] for name, of_table in brought.items() if number in of_table}
    try:
        fits = digest_of(rows) == entry.digest
    except RowError:  # a value that the writer would never have let in
        fits = False
    if not fits:
        named = ", ".join(rows) or "no table"
        return BadRow(named, number, "a row was changed, added or removed: the entry's digest does not fit")
    if link_of(before.link, entry[:-1]) != entry.link:
        return BadRow("ledger", number, "the entry was changed: its link does not fit")
    if expected is not None and expected.number == number and expected.link != entry.link:
        return BadRow("ledger", number, "its link is not the one written down: the chain was made anew")
    return None


_ENTRIES: Final = (
    select(ledger)
    .where(ledger.c.number >= bindparam("begin"), ledger.c.number < bindparam("end"))
    .order_by(ledger.c.number)
)


def _ledger_entries(connection: Connection, begin: int, end: int) -> list[Entry]:
    return [Entry(*row) for row in connection.execute(_ENTRIES, {"begin": begin, "end": end})]


class _Brought:
    """Gives the rows of one table by the numbers of their entries; is not asked where it has none."""

    def __init__(self, connection: Connection, table: Table) -> None:
        number = table.c.number
        self.name = table.name
        self._connection = connection
        self._rows = (
            select(table)
            .where(number >= bindparam("begin"), number < bindparam("end"))
            .order_by(*table.primary_key.columns)
        )
        self._next = select(func.min(number)).where(number >= bindparam("begin"))
        self._first = 0
        """Before it the table has no rows that were not given."""

    def rows(self, begin: int, end: int) -> dict[int, list[Row]]:
        """Return the rows that entries from `begin` to before `end` brought."""
        found: dict[int, list[Row]] = {}
        if self._first >= end:
            return found
        for row in self._connection.execute(self._rows, {"begin": begin, "end": end}):
            found.setdefault(row.number, []).append(tuple(row))
        if not found:
            after = self._connection.execute(self._next, {"begin": end}).scalar()
            self._first = NEVER if after is None else after
        return found


def _beyond(connection: Connection, last: int) -> BadRow | None:
    """Look for rows that no entry brought."""
    for table in APPEND_ONLY:
        number = table.c.number
        orphan = connection.execute(select(number).where(or_(number < 1, number > last)).limit(1)).scalar()
        if orphan is not None:
            return BadRow(table.name, orphan, "no ledger entry brought this row")
    return None


def _cut_tail(last: int, expected: Head | None) -> BadRow | None:
    if expected is None or expected.number <= last:
        return None
    return BadRow("ledger", last + 1, f"entries up to {expected.number} were written down, but they are gone")

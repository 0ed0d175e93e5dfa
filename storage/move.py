"""Copy a store to another place: from a file to a server or back, row for row, with the same chain.

The copy goes in ledger order, a window a transaction, so what is there is always the beginning of the same
store: after a kill it goes on from there. A store that is not all there is marked, and no daemon opens it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, delete, func, insert, select
from sqlalchemy.exc import DatabaseError

from storage import schema_version
from storage.errors import MoveError, StoreUnreachableError
from storage.ledger import Head
from storage.place import Place, place_of
from storage.queries import head, ledger_after
from storage.rows import Row
from storage.schema import APPEND_ONLY, MUTABLE_TABLES, ledger, metadata
from storage.store import bring_up_to_date
from storage.transaction import driver_connection
from storage.trouble import in_words
from storage.unfinished import MARK, refuse_unfinished
from storage.verify import Progress, verify

WINDOW: Final = 2000
"""Ledger entries of one transaction: bounds memory, and what a kill may cost."""


@dataclass(frozen=True, slots=True)
class Moved:
    """What stands at the new place."""

    head: Head
    begun_at: int
    """The ledger number after which this run went on; 0 if it copied everything."""
    counts: dict[str, int]
    """Rows by table, the same at both places."""


@dataclass(frozen=True, slots=True)
class _Side:
    """A store that this process holds, so that no daemon writes it."""

    place: Place
    engine: Engine


def move(
    source: str | Path | Place,
    target: str | Path | Place,
    *,
    copied: Progress = lambda _done, _all: None,
    verified: Progress = lambda _done, _all: None,
    window: int = WINDOW,
) -> Moved:
    """Copy the store at `source` to `target` and verify every row there. The source stays as it is.

    Parameters
    ----------
    source, target : str, Path or Place
        Addresses as for `storage.store.open_store`. No daemon may hold either.
    copied, verified : callable
        Called with how many ledger entries were copied, or verified, and how many there are.
    window : int
        Ledger entries of one transaction.

    Raises
    ------
    MoveError
        If the source is no finished store of this schema, the target holds another store, or the copy is not
        the same.
    StorageError
        If one of them cannot be opened or is held by a daemon.
    """
    from_place, to_place = place_of(source), place_of(target)
    if str(from_place) == str(to_place):
        raise MoveError(f"{from_place} is the source and the target; name another target")
    if not from_place.is_there():
        raise MoveError(f"there is no store {from_place}")
    with _held(from_place) as old, old.engine.connect() as reading:
        _refuse_unfinished(reading, from_place)
        whole = _head(reading)
        with _held(to_place) as new:
            begun_at = _place_to_go_on(reading, new, whole)
            for begin in range(begun_at, whole.number, window):
                end = min(begin + window, whole.number)
                _copy(reading, new, begin, end, whole)
                copied(end, whole.number)
            counts = _verified(reading, new, whole, verified)
            _finish(reading, new)
    return Moved(whole, begun_at, counts)


@contextmanager
def _held(place: Place) -> Iterator[_Side]:
    """Hold a store against daemons; what its database says becomes an error of ours."""
    claim = place.claim()
    engine = place.writing_engine()
    try:
        with engine.connect():  # on a server, it is this that takes the claim
            pass
        yield _Side(place, engine)
    except DatabaseError as error:
        raise StoreUnreachableError(str(place), in_words(error), place.advice) from error
    finally:
        engine.dispose()
        claim.release()


def _refuse_unfinished(connection: Connection, place: Place) -> None:
    version, newest = schema_version.check(connection, str(place)), schema_version.newest()
    if version != newest:
        had = "no tables" if version is None else f"schema {version}"
        raise MoveError(
            f"the store {place} has {had}, this program writes schema {newest}; start the daemon on it once, "
            "stop it, and move it then"
        )
    refuse_unfinished(connection, str(place))


def _head(connection: Connection) -> Head:
    """Return where the chain of a store stands."""
    number = head(connection)
    (last,) = ledger_after(connection, after=number - 1, limit=1)
    return Head(number, last.link)


def _place_to_go_on(reading: Connection, new: _Side, whole: Head) -> int:
    """Bring the target's tables up to date and return up to where the same store is there already."""
    bring_up_to_date(new.engine, new.place)
    with new.engine.begin() as connection:
        there = head(connection)
        if not there:
            return 0
        (ours,) = ledger_after(connection, after=there - 1, limit=1)
    same = ledger_after(reading, after=there - 1, limit=1)
    if there > whole.number or not same or same[0].link != ours.link:
        raise MoveError(
            f"{new.place} holds another store, or one that has gone on by itself, up to ledger number "
            f"{there}; nothing was changed. Name an empty database or a new file"
        )
    return there


def _copy(reading: Connection, new: _Side, after: int, up_to: int, whole: Head) -> None:
    pending = {table.name: _rows(reading, table, after, up_to) for table in (ledger, *APPEND_ONLY)}
    statements = new.place.statements()
    with new.engine.begin() as connection:
        driver = driver_connection(connection)
        statements.insert(driver, {name: rows for name, rows in pending.items() if rows})
        statements.set_position(driver, MARK, whole.number)


def _rows(connection: Connection, table: Any, after: int, up_to: int) -> list[Row]:
    number = table.c.number
    query = select(table).where(number > after, number <= up_to).order_by(*table.primary_key.columns)
    return [tuple(row) for row in connection.execute(query)]


def _verified(reading: Connection, new: _Side, whole: Head, progress: Progress) -> dict[str, int]:
    """Return the rows by table of a copy that is the same in every row."""
    with new.engine.begin() as connection:
        verdict = verify(connection, expected=whole, progress=progress)
        counts, wanted = _counts(connection), _counts(reading)
    if verdict.first_bad is not None or verdict.head != whole or counts != wanted:
        different = {name: (wanted[name], counts[name]) for name in wanted if wanted[name] != counts[name]}
        raise MoveError(
            f"the copy at {new.place} is not the same: {verdict.first_bad or different or verdict.head}; "
            "the source is as it was. Empty the target and move again"
        )
    return counts


def _counts(connection: Connection) -> dict[str, int]:
    return {
        table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
        for table in (ledger, *APPEND_ONLY)
    }


def _finish(reading: Connection, new: _Side) -> None:
    """Copy the few rows that move, and take the mark away with them."""
    with new.engine.begin() as connection:
        for name in MUTABLE_TABLES:
            table = metadata.tables[name]
            connection.execute(delete(table))
            if rows := [row._asdict() for row in reading.execute(select(table))]:
                connection.execute(insert(table), rows)

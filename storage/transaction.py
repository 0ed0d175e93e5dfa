"""One transaction of the writer: entries are composed in memory and flushed table by table."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final, Protocol

from sqlalchemy import Connection

from storage.ledger import Entry, Head, next_entry
from storage.rows import Row

HEAD_SQL: Final = "SELECT number, link FROM ledger ORDER BY number DESC LIMIT 1"


class Statements(Protocol):
    """What a transaction says to one kind of database, in the words of its driver."""

    def insert(self, driver: Any, pending: dict[str, list[Row]]) -> int:
        """Insert rows by table, parents before children; leave `pending` empty and return how many rows."""

    def set_position(self, driver: Any, name: str, number: int) -> None:
        """Remember how far a later step has come."""

    def heartbeat(self, driver: Any, at_us: int) -> None:
        """Remember that the daemon was alive. [µs since 1970 UTC]"""


def last_entry(connection: Connection) -> Head | None:
    """Return where the chain of the store stands; None before its first entry."""
    found = driver_connection(connection).execute(HEAD_SQL).fetchone()
    return None if found is None else Head(*found)


def driver_connection(connection: Connection) -> Any:
    """Return the driver's own connection: its calls cost a tenth of the toolkit's."""
    return connection.connection.driver_connection


class Transaction:
    """What a work may do inside the writer. Everything in it is committed together, or not at all."""

    def __init__(self, connection: Connection, head: Head, statements: Statements) -> None:
        self._connection = connection
        self._driver = driver_connection(connection)
        self._head = head
        self._statements = statements
        self._pending: defaultdict[str, list[Row]] = defaultdict(list)
        self.rows_written = 0

    @property
    def next_number(self) -> int:
        """Number that the next :meth:`enter` will give, for rows that name their own entry."""
        return self._head.number + 1

    @property
    def head(self) -> Head:
        """Where the chain will stand when this commits."""
        return self._head

    @property
    def connection(self) -> Connection:
        """The connection, to read with; it sees everything entered so far. Do not commit or roll back."""
        self.flush()
        return self._connection

    def enter(
        self,
        action: str,
        *,
        at_us: int,
        actor: str,
        actor_kind: str,
        rows: Mapping[str, Sequence[Row]],
        reason: str | None = None,
    ) -> int:
        """Write one ledger entry with the rows it brings and return its number.

        Parameters
        ----------
        action : str
            What was done, ``noun.verb`` in the past tense, such as ``chunk.heard``.
        at_us : int
            When, as the host's clock had it; entries are ordered by number, not by this. [µs since 1970 UTC]
        actor, actor_kind : str
            Who: initials of a person, an instrument, or the daemon; kind as in `storage.ledger.ActorKind`.
        rows : mapping of table name to rows
            Tuples of `storage.rows`: the columns of the table without ``number``, which is put in front here.
        reason : str, optional
            Why, in words, where a person gave one.

        Raises
        ------
        RowError
            If a table is not append-only or a row does not fit its table.
        """
        number = self._head.number + 1
        stamped = {table: [(number, *row) for row in given] for table, given in rows.items()}
        entry = next_entry(
            self._head,
            action,
            at_us=at_us,
            actor=actor,
            actor_kind=str(actor_kind),  # the plain text of an enumeration, which drivers take as it is
            reason=reason,
            rows=stamped,
        )
        self._keep(entry, stamped)
        return number

    def _keep(self, entry: Entry, stamped: Mapping[str, Sequence[Row]]) -> None:
        self._pending["ledger"].append(entry)
        for table, rows in stamped.items():
            self._pending[table].extend(rows)
        self._head = Head(entry.number, entry.link)

    def set_position(self, name: str, number: int) -> None:
        """Remember how far a later step has come."""
        self._statements.set_position(self._driver, name, number)

    def heartbeat(self, at_us: int) -> None:
        """Remember that the daemon was alive. [µs since 1970 UTC]"""
        self._statements.heartbeat(self._driver, at_us)

    @contextmanager
    def attempt(self) -> Iterator[None]:
        """Take back all that was entered inside if that raises; the error goes on to whoever tries.

        The chain then goes on from where it stood, and what was entered before stays.
        """
        self.flush()
        head, rows_written = self._head, self.rows_written
        try:
            with self._connection.begin_nested():
                yield
                self.flush()
        except BaseException:
            self._pending.clear()
            self._head, self.rows_written = head, rows_written
            raise

    def flush(self) -> None:
        """Hand everything entered so far to the database, one statement a table."""
        if self._pending:
            self.rows_written += self._statements.insert(self._driver, self._pending)

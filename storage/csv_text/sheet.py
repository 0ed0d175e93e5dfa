"""A sheet: its columns, its rows window by window, and its text in any dialect.

Each window is read in a short transaction of its own, so that a slow client holds nothing of the store.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from sqlalchemy import BigInteger, Connection, Select, bindparam

from storage.csv_text.dialects import Column, Dialect, Kind, Reader
from storage.csv_text.plain import header_text, plain_text
from storage.csv_text.writers import window, window_writer
from storage.csv_text.zones import OFFSET_COLUMN, changes_of, in_zone, local_name

Row = Sequence[Any]
ROWS_A_WINDOW: Final = 1000
"""Of typed rows."""


class Heading(NamedTuple):
    """One column of a sheet as readers see it."""

    name: str
    kind: Kind


@dataclass(frozen=True, slots=True)
class Sheet:
    """What can be written as text or as a workbook."""

    headings: tuple[Heading, ...]
    windows: Callable[[], Iterator[Sequence[Row]]]
    """Rows as values: whole numbers, numerals and text as they are, moments in µs since 1970 UTC."""
    count: Callable[[Connection, int], int]
    """How many rows there are, counted no further than a limit."""
    faster: Callable[[Dialect, str | None], Iterator[bytes]] | None = None
    """Lines that the database writes by itself, header and all; the same bytes as from the rows."""

    def text(self, dialect: Dialect, zone: str | None = None) -> Iterator[bytes]:
        """Yield the sheet in pieces of whole lines; moments are local where a zone is named.

        Raises `UnknownZoneError` at once if there is no such zone.
        """
        changes = None if zone is None else changes_of(zone)
        if self.faster is not None:
            return self.faster(dialect, zone)
        return self._written(dialect, changes)

    def _written(self, dialect: Dialect, changes: Any) -> Iterator[bytes]:
        kinds = [heading.kind for heading in self.headings]
        yield header_text(self.names(local=changes is not None), dialect)
        for rows in self.windows():
            if rows:
                yield plain_text(rows, kinds, dialect, changes)

    def names(self, *, local: bool) -> list[str]:
        """Return the names of the columns; in local time, the offset stands behind the first moment."""
        first = self.first_moment
        if not local or first is None:
            return [heading.name for heading in self.headings]
        names = [local_name(name) if kind is Kind.MOMENT else name for name, kind in self.headings]
        return [*names[: first + 1], OFFSET_COLUMN, *names[first + 1 :]]

    @property
    def first_moment(self) -> int | None:
        """The place of the first column of moments; None if there is none."""
        return next((place for place, one in enumerate(self.headings) if one.kind is Kind.MOMENT), None)


def sheet_of(
    reader: Reader,
    columns: tuple[Column, ...],
    rows_after: Callable[[Any], Select[Any]],
    *,
    count: Callable[[Connection, int], int],
    begin: int = 0,
) -> Sheet:
    """Return the sheet of a query that the database itself writes.

    Parameters
    ----------
    reader : callable
        Gives a connection for one window.
    columns : tuple of Column
        The first one is the key, by which the rows are in order.
    rows_after : callable
        Returns the query of the rows behind a key, without columns.
    count : callable
        Returns how many rows there are, counted no further than a limit.
    begin : int
        The key behind which the sheet begins.
    """

    def text(dialect: Dialect, zone: str | None) -> Iterator[bytes]:
        place, shown = begin, columns
        with reader() as connection:
            if zone is not None:
                shown = in_zone(columns, zone, server=connection.dialect.name == "postgresql")
            limit = window(connection)
            rows = rows_after(bindparam("place", begin, type_=BigInteger())).limit(limit)
            write = window_writer(connection, shown, rows, dialect)
        yield header_text([column.name for column in shown], dialect)
        while True:
            with reader() as connection:
                piece = write(connection, place)
            if piece.text:
                yield piece.text
            if piece.rows < limit:
                return
            place = piece.last

    def windows() -> Iterator[Sequence[Row]]:
        place = begin
        cells = [column.source.label(f"c{number}") for number, column in enumerate(columns)]
        while True:
            with reader() as connection:
                query = rows_after(place).add_columns(*cells).limit(ROWS_A_WINDOW)
                rows = connection.execute(query).all()
            yield rows
            if len(rows) < ROWS_A_WINDOW:
                return
            place = rows[-1][0]

    headings = tuple(Heading(column.name, column.kind) for column in columns)
    return Sheet(headings, windows, count, text)

"""Delimited layouts: rows whose columns stand in declared order, or under a header row."""

import csv
from collections.abc import Sequence

from acquire.drivers.definition import Definition, Delimited
from acquire.drivers.fields import ConstantField, Field
from acquire.drivers.record import RecordReader
from acquire.drivers.refusal import Refusal, shown
from acquire.events import Reading
from acquire.reasons import WRONG_LAYOUT


class Splitter:
    """Split a row into its columns."""

    def __init__(self, layout: Delimited, separator: str) -> None:
        self._separator = separator
        self._layout = layout

    def split(self, text: str) -> list[str]:
        """Return the stripped columns; raise `Refusal` for quotes that are undeclared or wrong."""
        columns = [column.strip() for column in self._columns(text)]
        if self._layout.trailing:
            if columns[-1]:
                raise Refusal(WRONG_LAYOUT, f"wanted {self._separator!r} at the end of the row")
            columns.pop()
        return columns

    def _columns(self, text: str) -> list[str]:
        if self._layout.quoted:
            return self._unquoted(text)
        if '"' in text:
            raise Refusal(WRONG_LAYOUT, "a double quote came; say quoted = true if columns may be quoted")
        columns = text.split(self._separator)
        return [column for column in columns if column.strip()] or [""] if self._layout.runs else columns

    def _unquoted(self, text: str) -> list[str]:
        try:
            (row,) = csv.reader([text], delimiter=self._separator, strict=True)
        except (csv.Error, ValueError) as error:
            raise Refusal(WRONG_LAYOUT, f"the quotes of the row are wrong: {error}") from None
        return row


class RowLayout:
    """Rows whose columns stand in the declared order; the first column may tell records apart."""

    def __init__(
        self, splitter: Splitter, records: Sequence[Sequence[Field]], definition: Definition
    ) -> None:
        self._splitter = splitter
        self._by_mark: dict[str, RecordReader] = {}
        self._unmarked: RecordReader | None = None
        for fields in records:
            reader = RecordReader(fields, definition)
            if isinstance(fields[0], ConstantField):
                self._by_mark[fields[0].text] = reader
            else:
                self._unmarked = reader

    def read(self, text: str) -> tuple[Reading, ...]:
        """Return the readings of a row."""
        columns = self._splitter.split(text)
        record = self._by_mark.get(columns[0], self._unmarked)
        if record is None:
            known = ", ".join(map(repr, self._by_mark))
            raise Refusal(WRONG_LAYOUT, f"wanted {known} in the first column, got {shown(columns[0])}")
        if len(columns) != record.width:
            raise Refusal(WRONG_LAYOUT, f"wanted {record.width} columns, got {len(columns)} in {shown(text)}")
        return record.read(columns)


class HeaderLayout:
    """Rows below a header row, which says where each field stands; each header row counts from there on."""

    def __init__(self, splitter: Splitter, fields: Sequence[Field], definition: Definition) -> None:
        self._splitter = splitter
        self._labels = [field.label or "" for field in fields]
        self._record = RecordReader(fields, definition)
        self._places: list[int] | None = None
        self._width = 0

    def read(self, text: str) -> tuple[Reading, ...]:
        """Return the readings of a row, none for a header row."""
        columns = self._splitter.split(text)
        if set(self._labels) <= set(columns):
            self._take_header(columns)
            return ()
        if self._places is None:
            raise Refusal(WRONG_LAYOUT, f"no header row with {', '.join(self._labels)} came yet")
        if len(columns) != self._width:
            raise Refusal(WRONG_LAYOUT, f"wanted {self._width} columns, got {len(columns)} in {shown(text)}")
        return self._record.read([columns[place] for place in self._places])

    def _take_header(self, columns: list[str]) -> None:
        self._places = None
        twice = [label for label in self._labels if columns.count(label) > 1]
        if twice:
            raise Refusal(WRONG_LAYOUT, f"the header names {', '.join(twice)} twice")
        self._places = [columns.index(label) for label in self._labels]
        self._width = len(columns)

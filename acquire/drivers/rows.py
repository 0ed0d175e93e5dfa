"""Rows of columns with a separator between them, which stand in the declared order."""

import csv
from collections.abc import Sequence

from acquire.drivers.definition import Definition
from acquire.drivers.fields import ConstantField
from acquire.drivers.layout_tables import Delimited, Record
from acquire.drivers.message import Content, Facts
from acquire.drivers.record import RecordReader
from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_LAYOUT


class Splitter:
    """Split a row into its columns."""

    def __init__(self, layout: Delimited, separator: str) -> None:
        self._separator = separator
        self._layout = layout

    def split(self, text: str) -> list[str]:
        """Return the stripped columns; raise `Refusal` for quotes that are undeclared or wrong."""
        columns = self._columns(text)
        if " " in text or not text.isprintable():  # a row without any blank is split already
            columns = [column.strip() for column in columns]
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

    def __init__(self, splitter: Splitter, records: Sequence[Record], definition: Definition) -> None:
        self._splitter = splitter
        self._by_mark: dict[str, RecordReader] = {}
        self._unmarked: RecordReader | None = None
        for record in records:
            first = record.columns[0]
            if isinstance(first, ConstantField):
                self._by_mark[first.text] = RecordReader(record, definition, first_is_known=True)
            else:
                self._unmarked = RecordReader(record, definition)

    def knows(self, text: str) -> bool:
        """Tell whether a row begins like one of the records that begin with a constant."""
        try:
            return self._splitter.split(text)[0] in self._by_mark
        except Refusal:
            return False

    def read(self, text: str, before: Facts | None = None) -> Content:
        """Return what a row says."""
        columns = self._splitter.split(text)
        record = self._by_mark.get(columns[0], self._unmarked)
        if record is None:
            known = ", ".join(map(repr, self._by_mark))
            raise Refusal(WRONG_LAYOUT, f"wanted {known} in the first column, got {shown(columns[0])}")
        if len(columns) != record.width:
            raise Refusal(WRONG_LAYOUT, f"wanted {record.width} columns, got {len(columns)} in {shown(text)}")
        return record.read(columns, before)

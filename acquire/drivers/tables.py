"""Tables with a header row, as programs write them into files: preamble, header, units, rows, footer."""

from typing import Final

from acquire.drivers.definition import Definition
from acquire.drivers.layout_tables import Delimited
from acquire.drivers.message import Content, Facts
from acquire.drivers.record import RecordReader
from acquire.drivers.refusal import Refusal, shown
from acquire.drivers.rows import Splitter
from acquire.reasons import UNKNOWN_UNIT, WRONG_LAYOUT

LEAST_KNOWN: Final = 2
"""Labels by which a row that may belong to a preamble is known for a header that has changed."""
BRACKETS: Final = "[]() "
"""What often stands round a unit in a row of units."""


class HeaderLayout:
    """Rows below a header row, which says where each field stands; each header row counts from there on.

    A row that has some of the labels but not all is a header that has changed: what follows it is refused,
    because nobody knows any more what stands where.
    """

    def __init__(self, splitter: Splitter, layout: Delimited, definition: Definition) -> None:
        self._splitter = splitter
        self._record = RecordReader(layout.records[0], definition, units_row=layout.units_row)
        columns = layout.records[0].columns
        self._labels = [field.label or "" for field in columns]
        self._required = [field.label or "" for field in columns if field.required]
        self._units_row = layout.units_row
        self._footer = layout.footer
        self._skip: float = layout.preamble  # rows that may still come before the header row
        self._places: list[int | None] | None = None
        self._units: list[str | None] | None = None
        self._width = 0

    def read(self, text: str, before: Facts | None = None) -> Content | None:
        """Return what a row says, or None for one that carries nothing."""
        if self._footer and text.startswith(self._footer):
            self._places, self._skip = None, float("inf")
            return None
        columns = self._split(text)
        if columns is None:
            return None
        if all(label in columns for label in self._required):
            self._take_header(columns)
            return Content((), (), Facts())
        known = sum(label in columns for label in self._required)
        if known >= LEAST_KNOWN or (known and self._places is not None):
            self._places, self._skip = None, 0
            missing = ", ".join(label for label in self._required if label not in columns)
            raise Refusal(WRONG_LAYOUT, f"a header row without {missing} came: {shown(text)}")
        if self._places is None:
            self._skip_one()
            return None
        if len(columns) != self._width:
            raise Refusal(WRONG_LAYOUT, f"wanted {self._width} columns, got {len(columns)} in {shown(text)}")
        texts = [None if place is None else columns[place] for place in self._places]
        if not self._units_row:
            return self._record.read(texts, before)
        if self._units is None:
            return self._take_units(texts)
        return self._record.read([*texts, *self._units], before)

    def _split(self, text: str) -> list[str] | None:
        """Return the columns, or None where a preamble need not have any."""
        try:
            return self._splitter.split(text)
        except Refusal:
            if self._places is None and self._skip > 0:
                self._skip -= 1
                return None
            raise

    def _skip_one(self) -> None:
        if self._skip <= 0:
            raise Refusal(WRONG_LAYOUT, f"no header row with {', '.join(self._required)} came yet")
        self._skip -= 1

    def _take_header(self, columns: list[str]) -> None:
        self._places = self._units = None
        twice = [label for label in self._labels if columns.count(label) > 1]
        if twice:
            raise Refusal(WRONG_LAYOUT, f"the header names {', '.join(twice)} twice")
        self._places = [columns.index(label) if label in columns else None for label in self._labels]
        self._width = len(columns)
        self._skip = 0

    def _take_units(self, texts: list[str | None]) -> Content:
        units = [None if text is None else text.strip(BRACKETS) for text in texts]
        try:
            self._units = self._record.units_of(units)
        except Refusal as refusal:
            self._places = None
            raise Refusal(UNKNOWN_UNIT, f"the row of units: {refusal.detail}") from None
        return Content((), (), Facts())

"""Rows whose columns stand at fixed places."""

from collections.abc import Sequence
from dataclasses import dataclass

from acquire.drivers.definition import Definition
from acquire.drivers.fields import ConstantField, Field
from acquire.drivers.layout_tables import Fixed, Record
from acquire.drivers.message import Content, Facts
from acquire.drivers.record import RecordReader
from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_LAYOUT


@dataclass(frozen=True, slots=True)
class _Columns:
    """One kind of row."""

    reader: RecordReader
    places: tuple[slice, ...]
    gaps: tuple[slice, ...]
    """What no column covers."""
    mark: tuple[slice, str] | None
    """Where and what its constant first column is."""

    def fits(self, row: str) -> bool:
        return self.mark is None or row[self.mark[0]].strip() == self.mark[1]


class FixedLayout:
    """Rows of one width; a character that came or went moves a column into a gap and is seen."""

    def __init__(self, layout: Fixed, definition: Definition) -> None:
        self._width = layout.width
        self._trimmed = layout.trimmed
        self._records = [_columns(record, layout.width, definition) for record in layout.records]
        self._records.sort(key=lambda record: record.mark is None)  # the unmarked one is for the rest

    def knows(self, text: str) -> bool:
        """Tell whether a row begins like one of the records that begin with a constant."""
        return any(record.mark is not None and record.fits(text) for record in self._records)

    def read(self, text: str, before: Facts | None = None) -> Content:
        """Return what a row says."""
        row = text.ljust(self._width) if self._trimmed else text
        if len(row) != self._width:
            raise Refusal(WRONG_LAYOUT, f"wanted {self._width} characters, got {len(text)} in {shown(text)}")
        for record in self._records:
            if record.fits(row):
                return self._read(row, record, before)
        known = ", ".join(repr(record.mark[1]) for record in self._records if record.mark is not None)
        raise Refusal(WRONG_LAYOUT, f"wanted {known} in the first column, got {shown(text)}")

    def _read(self, row: str, record: _Columns, before: Facts | None) -> Content:
        for gap in record.gaps:
            if row[gap].strip():
                place = f"characters {gap.start + 1} to {gap.stop}"
                raise Refusal(WRONG_LAYOUT, f"wanted blanks at {place}, got {shown(row[gap])}")
        return record.reader.read([row[place].strip() for place in record.places], before)


def _columns(record: Record, width: int, definition: Definition) -> _Columns:
    first = record.columns[0]
    places = tuple(map(place_of, record.columns))
    return _Columns(
        RecordReader(record, definition),
        places,
        _gaps(places, width),
        (places[0], first.text) if isinstance(first, ConstantField) else None,
    )


def place_of(field: Field) -> slice:
    """Return where a field stands in its row."""
    first, last = field.at or (1, 0)
    return slice(first - 1, last)


def _gaps(places: Sequence[slice], width: int) -> tuple[slice, ...]:
    """Return what lies between places that do not overlap."""
    ordered = sorted((place.start, place.stop) for place in places)
    begins = [0, *(stop for _, stop in ordered)]
    ends = [*(start for start, _ in ordered), width]
    return tuple(slice(begin, end) for begin, end in zip(begins, ends, strict=True) if begin < end)

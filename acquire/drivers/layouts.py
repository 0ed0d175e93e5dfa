"""Layouts: what turns the text of a frame into readings and notices, as a driver file declares it."""

from typing import Protocol

from acquire.drivers.columns import FixedLayout
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import characters_of
from acquire.drivers.labels import LabelledLayout
from acquire.drivers.layout_tables import Labelled
from acquire.drivers.message import Content, Facts, joined
from acquire.drivers.rows import RowLayout, Splitter
from acquire.drivers.tables import HeaderLayout


class Layout(Protocol):
    """Read the text of one frame, or of one row of it."""

    def read(self, text: str, before: Facts | None = None) -> Content | None:
        """Return what it says, or None if it carries nothing.

        Raises `Refusal` if it does not have the declared parts.
        """


class FrameOfRows:
    """A frame with several rows: all of them are read, or none."""

    def __init__(self, row: Layout, row_end: str, ignored: tuple[str, ...]) -> None:
        self._row = row
        self._row_end = row_end
        self._ignored = ignored

    def read(self, text: str, before: Facts | None = None) -> Content | None:
        """Return what the rows say, one after the other."""
        said: list[Content] = []
        for row in text.split(self._row_end):
            if not row.strip() or row.lstrip().startswith(self._ignored):
                continue
            content = self._row.read(row, before)
            if content is not None:
                said.append(content)
                before = content.facts
        return joined(said) if said else None


class RowsBesideLabels:
    """Rows that begin with a constant, and labelled messages for all that does not."""

    def __init__(self, rows: RowLayout | FixedLayout, labelled: LabelledLayout) -> None:
        self._rows = rows
        self._labelled = labelled

    def read(self, text: str, before: Facts | None = None) -> Content:
        """Return what a row or a labelled message says."""
        return (self._rows if self._rows.knows(text) else self._labelled).read(text, before)


def layout_of(definition: Definition) -> Layout:
    """Return a layout as a driver file declares it; make one a capture, for it may remember a header row."""
    encoding = definition.framing.encoding
    rows = definition.delimited or definition.fixed
    if rows is not None and rows.rows:
        row_end = characters_of(rows.rows, encoding)
        return FrameOfRows(_row_layout_of(definition), row_end, ignored_lines(definition))
    return _row_layout_of(definition)


def ignored_lines(definition: Definition) -> tuple[str, ...]:
    """Return how lines begin that carry nothing."""
    framing = definition.framing
    return tuple(characters_of(text, framing.encoding) for text in framing.ignore_lines)


def _row_layout_of(definition: Definition) -> Layout:
    rows = _rows_of(definition)
    if definition.labelled is None:
        if rows is None:
            raise ValueError("a driver file needs a layout")
        return rows
    labelled = _labelled_layout(definition.labelled, definition)
    return labelled if rows is None or isinstance(rows, HeaderLayout) else RowsBesideLabels(rows, labelled)


def _rows_of(definition: Definition) -> RowLayout | FixedLayout | HeaderLayout | None:
    if definition.fixed is not None:
        return FixedLayout(definition.fixed, definition)
    layout = definition.delimited
    if layout is None:
        return None
    splitter = Splitter(layout, characters_of(layout.separator, definition.framing.encoding))
    if layout.header:
        return HeaderLayout(splitter, layout, definition)
    return RowLayout(splitter, layout.records, definition)


def _labelled_layout(layout: Labelled, definition: Definition) -> LabelledLayout:
    encoding = definition.framing.encoding
    between = characters_of(layout.between, encoding)
    label_end = characters_of(layout.label_end, encoding)
    return LabelledLayout(layout, between, label_end, ignored_lines(definition), definition)

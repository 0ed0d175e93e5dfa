"""Layouts: what turns the text of a frame into readings and notices, as a driver file declares it."""

from typing import Protocol

from acquire.drivers.columns import FixedLayout
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import characters_of
from acquire.drivers.labels import LabelledLayout
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
    encoding = definition.framing.encoding
    if definition.fixed is not None:
        return FixedLayout(definition.fixed, definition)
    if definition.labelled is not None:
        between = characters_of(definition.labelled.between, encoding)
        label_end = characters_of(definition.labelled.label_end, encoding)
        return LabelledLayout(definition.labelled, between, label_end, ignored_lines(definition), definition)
    if definition.delimited is None:
        raise ValueError("a driver file needs a layout")
    splitter = Splitter(definition.delimited, characters_of(definition.delimited.separator, encoding))
    if definition.delimited.header:
        return HeaderLayout(splitter, definition.delimited, definition)
    return RowLayout(splitter, definition.delimited.records, definition)

"""Layouts: what turns the text of a frame into readings, as a driver file declares it."""

from typing import Protocol

from acquire.drivers.definition import Definition
from acquire.drivers.escapes import characters_of
from acquire.drivers.labels import LabelledLayout
from acquire.drivers.rows import HeaderLayout, RowLayout, Splitter
from acquire.events import Reading


class Layout(Protocol):
    """Read the text of one frame."""

    def read(self, text: str) -> tuple[Reading, ...]:
        """Return the readings; raise `Refusal` if the frame does not have the declared parts."""


def layout_of(definition: Definition) -> Layout:
    """Return a layout as a driver file declares it; make one a capture, for it may remember a header row."""
    encoding = definition.framing.encoding
    if definition.labelled is not None:
        between = characters_of(definition.labelled.between, encoding)
        label_end = characters_of(definition.labelled.label_end, encoding)
        return LabelledLayout(definition.labelled, between, label_end, definition)
    if definition.delimited is None:
        raise ValueError("a driver file needs a layout")
    splitter = Splitter(definition.delimited, characters_of(definition.delimited.separator, encoding))
    if definition.delimited.header:
        return HeaderLayout(splitter, definition.records[0], definition)
    return RowLayout(splitter, definition.records, definition)

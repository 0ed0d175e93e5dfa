"""The labelled layout: values behind labels, in any order, on one line or on several."""

import re

from acquire.drivers.definition import Definition, Labelled
from acquire.drivers.record import RecordReader
from acquire.drivers.refusal import Refusal, shown
from acquire.events import Reading
from acquire.reasons import WRONG_LAYOUT


class LabelledLayout:
    """Labels with a value behind each, on one line or on several, in any order."""

    def __init__(self, layout: Labelled, between: str, label_end: str, definition: Definition) -> None:
        self._between = between
        self._labels = {field.label or "": index for index, field in enumerate(layout.fields)}
        self._required = [field.label or "" for field in layout.fields if field.required]
        self._record = RecordReader(layout.fields, definition)
        self._pattern = re.compile(_label_pattern(list(self._labels), label_end))

    def read(self, text: str) -> tuple[Reading, ...]:
        """Return the readings of a message."""
        texts: list[str | None] = [None] * self._record.width
        for label, value in self._pairs(text):
            index = self._labels[label]
            if texts[index] is not None:
                raise Refusal(WRONG_LAYOUT, f"the label {label!r} came twice")
            texts[index] = value
        missing = [label for label in self._required if texts[self._labels[label]] is None]
        if missing:
            raise Refusal(
                WRONG_LAYOUT, f"no label {' and no label '.join(map(repr, missing))} in {shown(text)}"
            )
        return self._record.read(texts)

    def _pairs(self, text: str) -> list[tuple[str, str]]:
        if self._between == " ":
            return self._found(self._pattern.split(text))
        pieces = [piece.strip() for piece in text.split(self._between)]
        return [
            pair for piece in pieces if piece for pair in self._found(self._pattern.split(piece, maxsplit=1))
        ]

    def _found(self, parts: list[str]) -> list[tuple[str, str]]:
        """Return the pairs of a text split at its labels: what stands before, label, value, label, value."""
        if parts[0].strip():
            raise Refusal(WRONG_LAYOUT, f"{shown(parts[0].strip())} is not behind a label of the driver file")
        return [(parts[at], parts[at + 1].strip()) for at in range(1, len(parts), 2)]


def _label_pattern(labels: list[str], label_end: str) -> str:
    """Return a pattern that finds labels at the beginning or after a blank, the longest that fits."""
    listed = "|".join(re.escape(label) for label in sorted(labels, key=len, reverse=True))
    behind = {" ": r"(?![^ \t])", "": ""}.get(label_end, rf"[ \t]*+{re.escape(label_end)}")
    return rf"(?<![^ \t])({listed}){behind}"

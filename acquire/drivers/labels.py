"""The labelled layout: values behind labels, in any order, on one line or on several."""

import re

from acquire.drivers.definition import Definition
from acquire.drivers.layout_tables import Labelled
from acquire.drivers.message import Content, Facts
from acquire.drivers.record import RecordReader
from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_LAYOUT


class LabelledLayout:
    """Labels with a value behind each, on one line or on several, in any order."""

    def __init__(
        self,
        layout: Labelled,
        between: str,
        label_end: str,
        ignored: tuple[str, ...],
        definition: Definition,
    ) -> None:
        """Take the texts between pairs and between label and value, and how pieces begin that say nothing."""
        self._between = between
        self._ignored = ignored
        self._most_pairs = 0 if layout.several else 1  # in a piece; 0 for any number
        self._leader = layout.leader
        self._labels = {field.label or "": index for index, field in enumerate(layout.fields)}
        self._required = [field.label or "" for field in layout.fields if field.required]
        self._record = RecordReader(layout, definition)
        self._pattern = re.compile(_label_pattern(list(self._labels), label_end))

    def read(self, text: str, before: Facts | None = None) -> Content:
        """Return what a message says."""
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
        return self._record.read(texts, before)

    def _pairs(self, text: str) -> list[tuple[str, str]]:
        if self._between == " ":
            return self._found(self._pattern.split(text))
        pieces = [piece.strip() for piece in text.split(self._between)]
        return [
            pair
            for piece in pieces
            if piece and not piece.startswith(self._ignored)
            for pair in self._found(self._pattern.split(piece, maxsplit=self._most_pairs))
        ]

    def _found(self, parts: list[str]) -> list[tuple[str, str]]:
        """Return the pairs of a text split at its labels: what stands before, label, value, label, value."""
        if parts[0].strip():
            raise Refusal(WRONG_LAYOUT, f"{shown(parts[0].strip())} is not behind a label of the driver file")
        return [(parts[at], self._value(parts[at + 1])) for at in range(1, len(parts), 2)]

    def _value(self, text: str) -> str:
        return text.lstrip(self._leader + " ").rstrip() if self._leader else text.strip()


def _label_pattern(labels: list[str], label_end: str) -> str:
    """Return a pattern that finds labels at the beginning or after a blank, the longest that fits."""
    listed = "|".join(re.escape(label) for label in sorted(labels, key=len, reverse=True))
    behind = {" ": r"(?![^ \t])", "": ""}.get(label_end, rf"[ \t]*+{re.escape(label_end)}")
    return rf"(?<![^ \t])({listed}){behind}"

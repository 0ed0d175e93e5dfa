"""Texts taken apart into labels and values, as a labelled layout does it."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Manner:
    """How pairs are written: the keys of the table ``[labelled]``."""

    between: str
    """Stands between pairs; the characters themselves."""
    label_end: str
    several: bool = False
    leader: str = ""


@dataclass(slots=True)
class Pairs:
    """Labels with their values, text by text."""

    manner: Manner
    labels: list[str]
    values: list[dict[str, str]] = field(default_factory=list)
    """Of each text that is made of such pairs alone."""
    failed: int = 0
    """Texts that are not."""
    idle: Counter[str] = field(default_factory=Counter)
    """Pieces without any label."""


def pairs_of(texts: Sequence[str], manner: Manner, labels: Sequence[str]) -> Pairs:
    """Return the pairs of texts for known labels, as the engine will find them."""
    found = Pairs(manner, list(labels))
    pattern = _pattern(labels, manner.label_end)
    for text in texts:
        values = _values(text, pattern, manner, found)
        if values is None:
            found.failed += 1
        else:
            found.values.append(values)
    return found


def _pattern(labels: Sequence[str], label_end: str) -> re.Pattern[str]:
    listed = "|".join(re.escape(label) for label in sorted(labels, key=len, reverse=True))
    behind = {" ": r"(?![^ \t])", "": ""}.get(label_end, rf"[ \t]*+{re.escape(label_end)}")
    return re.compile(rf"(?<![^ \t])({listed}){behind}")


def _values(text: str, pattern: re.Pattern[str], manner: Manner, found: Pairs) -> dict[str, str] | None:
    values: dict[str, str] = {}
    at_once = manner.between == " "
    pieces = [text] if at_once else [piece.strip() for piece in text.split(manner.between)]
    for piece in pieces:
        if not piece:
            continue
        parts = pattern.split(piece, maxsplit=0 if at_once or manner.several else 1)
        if parts[0].strip():
            if at_once or len(parts) > 1 or ("\n" not in manner.between and "\r" not in manner.between):
                return None
            found.idle[piece] += 1
            continue
        for label, value in zip(parts[1::2], parts[2::2], strict=True):
            if label in values:
                return None
            values[label] = value.lstrip(manner.leader + " ").rstrip() if manner.leader else value.strip()
    return values or None

"""Blocks of lines that make one message: found by what comes back."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from acquire.learning.frames import FramingDraft
from acquire.learning.report import succession
from acquire.learning.toml_file import escaped

LEAST_BLOCKS: Final = 3
LEAST_ALIKE: Final = 0.6  # share of the blocks that have the usual lines, or some of them
MOST_LINES: Final = 80  # of a block
MOST_BEGINNINGS: Final = 3
_BLANKS: Final = b" \t"


@dataclass(frozen=True, slots=True)
class Line:
    """A line, and whether a blank one stands before it."""

    body: bytes
    kind: bytes
    """How it begins: what lines of its kind have in common."""
    behind_blank: bool


def block_framings(data: bytes, lines: FramingDraft) -> Iterator[FramingDraft]:
    """Yield ways to gather the lines of a framing into blocks."""
    told = _lines(data, lines.ends)
    if len(told) < 2 * LEAST_BLOCKS:
        return
    blanks = sum(line.behind_blank for line in told)
    if blanks >= LEAST_BLOCKS:
        groups = _between_blanks(told)
        if sum(len(group) for group in groups) >= 1.5 * len(groups):
            yield _draft(lines, groups, b"", b"")
    for begin in _beginnings(told):
        yield from _from(begin, told, lines)


def _lines(data: bytes, ends: tuple[bytes, ...]) -> list[Line]:
    pattern = b"|".join(re.escape(end) for end in sorted(ends, key=len, reverse=True))
    told: list[Line] = []
    behind_blank = True
    for body in re.split(pattern, data)[:-1]:
        text = body.strip(_BLANKS)
        if text:
            told.append(Line(body, _kind(text), behind_blank))
        behind_blank = not text
    return told


def _kind(text: bytes) -> bytes:
    """Return how a line begins: its sign, its label, or its words up to the first digit."""
    if not text[:1].isalnum() and text[:1] < b"\x80":
        signs = text[: len(text) - len(text.lstrip(text[:1]))]
        if len(signs) >= 3:
            return signs[:3]
    label = re.match(rb"(?:(?!  )[^:=\d])*[:=]?", text)
    return (label[0].strip(_BLANKS) if label else b"") or b"0"


def _between_blanks(told: Sequence[Line]) -> list[list[Line]]:
    groups: list[list[Line]] = []
    for line in told:
        if line.behind_blank or not groups:
            groups.append([])
        groups[-1].append(line)
    return groups


def _beginnings(told: Sequence[Line]) -> list[bytes]:
    """Return the kinds of lines that could begin a block, the likeliest first."""
    counts = Counter(line.kind for line in told)
    scored = []
    for at, (kind, count) in enumerate(counts.items()):
        if count < LEAST_BLOCKS or kind == b"0":
            continue
        groups = _groups(told, kind)
        alike = _alike(groups)
        if alike < LEAST_ALIKE or sum(map(len, groups)) < 2 * len(groups):
            continue
        behind_blank = sum(group[0].behind_blank for group in groups) / len(groups)
        is_title = not kind.endswith((b":", b"=")) and kind[:3] not in (b"---", b"===", b"***")
        scored.append((behind_blank > 0.7, is_title, alike, -at, kind))
    return [one[-1] for one in sorted(scored, reverse=True)[:MOST_BEGINNINGS]]


def _groups(told: Sequence[Line], begin: bytes) -> list[list[Line]]:
    groups: list[list[Line]] = []
    for line in told:
        if line.kind == begin:
            groups.append([line])
        elif groups:
            groups[-1].append(line)
    return groups


def _alike(groups: Sequence[list[Line]]) -> float:
    """Return the share of the groups that have the usual kinds of lines, or only such."""
    usual = Counter(tuple(line.kind for line in group) for group in groups).most_common(1)[0][0]
    known = set(usual)
    fitting = sum({line.kind for line in group} <= known and len(group) <= MOST_LINES for group in groups)
    repeated = sum(len({line.kind for line in group}) < len(group) for group in groups)
    return fitting / len(groups) - (0.3 if repeated > 0.5 * len(groups) else 0.0)


def _from(begin: bytes, told: Sequence[Line], lines: FramingDraft) -> Iterator[FramingDraft]:
    groups = _groups(told, begin)
    lasts = Counter(group[-1].kind for group in groups[:-1] or groups)
    end, count = lasts.most_common(1)[0]
    inside = sum(line.kind == end for group in groups for line in group[:-1])
    if count >= LEAST_ALIKE * max(1, len(groups) - 1) and not inside and end not in (begin, b"0"):
        whole = [group for group in groups if group[-1].kind == end]
        yield _draft(lines, whole, begin, end)
    blank_inside = sum(line.behind_blank for group in groups for line in group[1:])
    blank_before = sum(group[0].behind_blank for group in groups)
    if blank_before >= 0.9 * len(groups) and blank_inside <= 0.02 * len(told):
        yield _draft(lines, groups, begin, b"")


def _draft(lines: FramingDraft, groups: Sequence[list[Line]], begin: bytes, end: bytes) -> FramingDraft:
    joiner = lines.ends[0]
    bodies = [joiner.join(_content(group, begin, end)) for group in groups]
    table = {"begin": escaped(begin, "ascii")} if begin else {}
    if end:
        table["end"] = escaped(end, "ascii")
    alike = _alike(groups)
    return FramingDraft(
        lines.ends,
        bodies=bodies,
        tails=[b""] * len(bodies),
        row_end=joiner,
        block=table,
        confidence=succession(alike * len(groups), len(groups)),
        because=f"{len(groups)} blocks, {alike:.0%} of them with the same kinds of lines",
    )


def _content(group: Sequence[Line], begin: bytes, end: bytes) -> list[bytes]:
    """Return the lines of a block without a first and a last line that say no more than that."""
    return [line.body for line in group if line.body.strip(_BLANKS) not in (begin or b"\0", end or b"\0")]

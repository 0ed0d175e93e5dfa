"""Where messages could begin and end, judged from the bytes alone."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

from acquire.learning.report import Claim, succession
from acquire.learning.toml_file import escaped

LEAST_FRAMES: Final = 3
CONTROLS: Final = frozenset(range(1, 32)) - frozenset(b"\t\r\n\x11\x13\x1b")
BRACKETS: Final = (b"{}", b"<>", b"[]", b"()", b"$#", b"$*", b":;", b"!#")
STARTS: Final = b"$<{[(:!#@*&>^~|/%=?"
"""Signs that may stand in front of every message."""
TAIL_BYTES: Final = 8  # kept behind an end mark, where a check may stand [bytes]
MOST_LENGTH: Final = 65_536  # [bytes]
MOST_CONTROLS: Final = 4  # kinds of control characters that are tried as marks
BLANK: Final = b" \t\r\n\0"


@dataclass(slots=True)
class FramingDraft:
    """One way to cut bytes into messages."""

    ends: tuple[bytes, ...]
    start: bytes = b""
    bodies: list[bytes] = field(default_factory=list)
    """What stands between the marks."""
    tails: list[bytes] = field(default_factory=list)
    """What comes behind each end mark, up to 8 bytes."""
    row_end: bytes = b""
    """What parts the lines of a body, if bodies have several."""
    length: int | None = None
    """Of every message with its start mark, where nothing else ends it. [bytes]"""
    block: dict[str, Any] | None = None
    """The table ``[block]``, if several lines make a message."""
    ignore_lines: list[str] = field(default_factory=list)
    between: bytes = b""
    """Control characters that stand between messages and never in one."""
    confidence: float = 0.0
    because: str = ""

    def table(self) -> dict[str, Any]:
        """Return the table ``[framing]``, without its encoding."""
        table: dict[str, Any] = {}
        if self.start:
            table["start"] = escaped(self.start, "ascii")
        if self.length is not None:
            table["length"] = self.length
        else:
            table["ends"] = [escaped(end, "ascii") for end in self.ends]
        if self.between:
            table["filler"] = escaped(self.between, "ascii")
        longest = max(map(len, self.bodies), default=0)
        table["max_length"] = min(MOST_LENGTH, max(64, 1 << (4 * longest + 16).bit_length()))
        return table

    def claim(self) -> Claim:
        """Return what is claimed of it."""
        end = " or ".join(repr(escaped(mark, "ascii")) for mark in self.ends)
        said = f"messages end with {end}" if self.length is None else f"messages are {self.length} bytes long"
        if self.start:
            said = f"messages begin with {escaped(self.start, 'ascii')!r}; {said}"
        if self.block is not None:
            said = f"a message is a block of lines, each ending with {end}"
        return Claim("framing", said, self.confidence, self.because)


def framings_of(data: bytes) -> Iterator[FramingDraft]:
    """Yield ways to cut bytes into messages, the plainest first."""
    lines = list(_line_framings(data))
    for one in lines:
        yield from _with_marks(one, data)
    yield from _control_framings(data)
    yield from _bracket_framings(data)
    if not any(len(one.bodies) >= LEAST_FRAMES for one in lines):
        yield from _other_ends(data)
        yield from _by_length(data)


def cut(data: bytes, ends: Sequence[bytes], start: bytes = b"") -> FramingDraft:
    """Cut bytes at end marks, and begin each message at the last start mark before its end."""
    pattern = re.compile(b"|".join(re.escape(end) for end in sorted(ends, key=len, reverse=True)))
    draft = FramingDraft(tuple(ends), start)
    begin = whole = 0
    outside: Counter[int] = Counter()
    for match in pattern.finditer(data):
        body = data[begin : match.start()]
        begin = match.end()
        at = body.rfind(start) if start else 0
        if at < 0 or not body.strip(BLANK):
            continue
        whole += not body[:at].strip(BLANK)
        outside.update(body[:at])
        draft.bodies.append(body[at + len(start) :])
        draft.tails.append(data[begin : begin + TAIL_BYTES])
    draft.row_end = _row_end(draft.bodies)
    draft.between = _between(outside, draft.bodies)
    draft.confidence = succession(whole, len(draft.bodies))
    draft.because = f"{len(draft.bodies)} messages are cut so"
    return draft


def _between(outside: Counter[int], bodies: Sequence[bytes]) -> bytes:
    """Return the control characters that come often outside messages, and hardly in them."""
    inside = Counter(byte for body in bodies for byte in body)
    return bytes(
        byte
        for byte, count in sorted(outside.items())
        if count >= LEAST_FRAMES
        and (byte < 0x20 or byte == 0x7F)
        and byte not in BLANK[:4]
        and inside[byte] < 0.1 * count
    )


def _row_end(bodies: Sequence[bytes]) -> bytes:
    """Return what parts the lines of bodies; empty if most bodies are one line."""
    for mark in (b"\r\n", b"\n", b"\r", b"\x1e"):
        if sum(mark in body.strip(BLANK) for body in bodies) > 0.5 * len(bodies):
            return mark
    return b""


def _line_framings(data: bytes) -> Iterator[FramingDraft]:
    both = data.count(b"\r\n")
    feeds, returns = data.count(b"\n") - both, data.count(b"\r") - both
    turned = data.count(b"\n\r")
    if turned >= LEAST_FRAMES and feeds >= turned and returns >= turned:
        yield cut(data, (b"\n\r",))
    if both and feeds > 0.02 * both:
        yield cut(data, (b"\n", b"\r\n"))
    elif both:
        yield cut(data, (b"\r\n",))
    elif feeds:
        yield cut(data, (b"\n",))
    if returns > 0.02 * both and not (turned >= LEAST_FRAMES and returns >= turned):
        yield cut(data, (b"\r",))


def _with_marks(lines: FramingDraft, data: bytes) -> Iterator[FramingDraft]:
    """Yield lines, and lines whose first and last signs are taken for marks."""
    yield lines
    bodies = [body.strip(b" \t") for body in lines.bodies]
    total = len(bodies)
    if total < LEAST_FRAMES:
        return
    first, count = Counter(body[:1] for body in bodies).most_common(1)[0]
    if count < 0.6 * total or first not in [bytes([sign]) for sign in STARTS]:
        return
    if sum(first in body[1:] for body in bodies) <= 0.02 * total:
        yield cut(data, lines.ends, first)
        last, ended = Counter(body[-1:] for body in bodies if body.startswith(first)).most_common(1)[0]
        if ended >= 0.9 * count and not last.isalnum() and last not in (first, b"", b".", b"%"):
            yield cut(data, (last,), first)


def _control_framings(data: bytes) -> Iterator[FramingDraft]:
    counts = Counter(byte for byte in data if byte in CONTROLS)
    marks = [bytes([byte]) for byte, count in counts.most_common(2 * MOST_CONTROLS) if count >= LEAST_FRAMES]
    pairs = [
        (start, end) for start in marks for end in marks if start != end and _alternate(data, start, end)
    ]
    for start, end in pairs[:MOST_CONTROLS]:
        yield cut(data, (end,), start)
    for start in marks[:MOST_CONTROLS]:
        for end in (b"\r\n", b"\n", b"\r"):
            if data.count(end) >= LEAST_FRAMES and _alternate(data, start, end):
                yield cut(data, (end,), start)
                break
    for end in marks[:MOST_CONTROLS]:
        whole = cut(data, (end,))
        yield whole
        yield from _with_first_line(whole, data)
    if data.count(0) >= LEAST_FRAMES and not marks:
        yield cut(data, (b"\0",))


def _with_first_line(whole: FramingDraft, data: bytes) -> Iterator[FramingDraft]:
    """Yield messages of several lines that begin with one and the same line, a title or a rule."""
    if not whole.row_end:
        return
    firsts = Counter(body.lstrip(BLANK).split(whole.row_end, 1)[0] for body in whole.bodies)
    first, count = firsts.most_common(1)[0]
    if (
        len(first) >= 3
        and count >= 0.6 * len(whole.bodies)
        and not any(0x30 <= byte <= 0x39 for byte in first)
    ):
        yield cut(data, whole.ends, first + whole.row_end)


def _alternate(data: bytes, start: bytes, end: bytes) -> bool:
    """Tell whether an end comes between nearly all starts, and not at once."""
    begins = [match.start() for match in re.finditer(re.escape(start), data)]
    if len(begins) < LEAST_FRAMES:
        return False
    closed = sum(data.find(end, begin + 2, after) >= 0 for begin, after in pairwise(begins))
    return closed >= 0.8 * (len(begins) - 1)


def _bracket_framings(data: bytes) -> Iterator[FramingDraft]:
    for pair in BRACKETS:
        start, end = pair[:1], pair[1:]
        if data.count(start) >= LEAST_FRAMES and _alternate(data, start, end):
            yield cut(data, (end,), start)


def _other_ends(data: bytes) -> Iterator[FramingDraft]:
    """Yield cuts at signs behind which messages of one shape begin."""
    found = []
    for byte in set(data[:8192]):
        mark = bytes([byte])
        if mark.isalnum() or mark in b" .,+-\0" or data.count(mark) < LEAST_FRAMES:
            continue
        draft = cut(data, (mark,))
        shapes = Counter(shape_of(body) for body in draft.bodies[:400])
        alike = shapes.most_common(1)[0][1] / (sum(shapes.values()) or 1) if shapes else 0.0
        length = sum(map(len, draft.bodies)) / (len(draft.bodies) or 1)
        if length >= 4 and alike >= 0.3:
            found.append((alike, length, draft))
    found.sort(key=lambda one: one[:2], reverse=True)
    yield from (draft for _, _, draft in found[:3])


def shape_of(body: bytes) -> bytes:
    """Return a body with its digits as ``0``, each run once."""
    return re.sub(rb"[0-9]+", b"0", body)


def _by_length(data: bytes) -> Iterator[FramingDraft]:
    """Yield messages of one length that begin with one sign or letter."""
    for byte, count in Counter(data[:8192]).most_common(40):
        mark = bytes([byte])
        if count < LEAST_FRAMES or mark.isdigit() or mark in b" .,+-":
            continue
        begins = [match.start() for match in re.finditer(re.escape(mark), data)]
        steps = Counter(after - before for before, after in pairwise(begins))
        length, times = steps.most_common(1)[0]
        if length >= 4 and times >= 0.8 * len(steps) and times >= 0.8 * (len(begins) - 1):
            bodies = [data[at + 1 : at + length] for at in begins if at + length <= len(data)]
            draft = FramingDraft((), mark, bodies, [b""] * len(bodies), length=length)
            draft.confidence = succession(times, len(begins) - 1)
            draft.because = f"{times} of {len(begins) - 1} are {length} bytes apart"
            yield draft
            return

"""Look for the framing, check and layout that explain most of some bytes."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from acquire.drivers.escapes import Encoding
from acquire.drivers.text import TERMINAL_CODE
from acquire.events import FrameRefused
from acquire.learning.answers import Answers
from acquire.learning.blocks import block_framings
from acquire.learning.candidate import Candidate, definition_of, events_of, score_of
from acquire.learning.checking import checks_of
from acquire.learning.encoding import as_plain_bytes, plain_codec
from acquire.learning.frames import FramingDraft, framings_of
from acquire.learning.labels import idle_beginning, label_layouts
from acquire.learning.layouts import LayoutDraft
from acquire.learning.places import place_layouts
from acquire.learning.rows import row_layouts
from acquire.learning.tables import table_layouts
from acquire.learning.toml_file import escaped

WORTH_OF_CHECK: Final = 0.05
WORTH_OF_PLACES: Final = 0.01  # of fixed columns where blanks fill them up: a lost character is seen
WORTH_OF_HEADER: Final = 0.03  # names are better than numbers of columns
WORTH_OF_MARK: Final = 0.004  # a beginning that is marked cannot be mistaken
COST_OF_FIELD: Final = 0.002
LEAST_WORTH: Final = 0.15  # below, nothing was understood
LEAST_NOISE: Final = 5  # times that a character comes before it is taken for noise and not for damage
MOST_TEXTS: Final = 3000  # messages that a layout is made from
UNDERSTOOD: Final = 0.5  # share of the bytes that a layout must read to be worth a look at the rest


@dataclass(frozen=True, slots=True)
class Noise:
    """What means nothing wherever it stands."""

    extra: dict[str, Any]
    """Keys of the table ``[framing]``."""
    plain: bytes
    """The bytes without it."""


def without_noise(data: bytes) -> Noise:
    """Take out flow control characters and terminal codes, if there are any."""
    import re

    extra: dict[str, Any] = {}
    flow = bytes(byte for byte in b"\x11\x13" if data.count(byte) >= LEAST_NOISE)
    if flow:
        extra["ignore"] = escaped(flow, "ascii")
        data = data.translate(None, flow)
    codes = re.compile(TERMINAL_CODE.encode("latin-1"))
    if len(codes.findall(data)) >= LEAST_NOISE:
        extra["ansi"] = True
        data = codes.sub(b" ", data)
    return Noise(extra, data)


def best_candidate(data: bytes, encoding: Encoding, answers: Answers) -> Candidate | None:
    """Return what explains most of some bytes; None if nothing explains enough.

    Parameters
    ----------
    data : bytes
        From the opening of a capture on, as the line delivered them.
    encoding : Encoding
        Of their text.
    answers : Answers
        What somebody said.
    """
    noise = without_noise(as_plain_bytes(data, encoding))
    best: Candidate | None = None
    for candidate in _candidates(noise, encoding, answers):
        _weigh(candidate, data)
        if best is None or candidate.worth > best.worth:
            best = candidate
    if best is None or best.worth < LEAST_WORTH:
        return None
    _ignore_what_comes_again(best, data)
    return best


def _candidates(noise: Noise, encoding: Encoding, answers: Answers) -> Iterator[Candidate]:
    for framing in _framings(noise.plain):
        checks = () if noise.extra else checks_of(framing, seven_bits=encoding == "7bit")
        for check in checks:
            yield from _with_layouts(framing, check.bodies, noise, encoding, answers, check=check)
        yield from _with_layouts(framing, framing.bodies, noise, encoding, answers)


def _framings(data: bytes) -> Iterator[FramingDraft]:
    for framing in framings_of(data):
        if len(framing.bodies) < 2:
            continue
        yield framing
        if not framing.start and framing.length is None and framing.ends[0].strip(b"\r\n") == b"":
            yield from block_framings(data, framing)


def _with_layouts(
    framing: FramingDraft,
    bodies: Sequence[bytes],
    noise: Noise,
    encoding: Encoding,
    answers: Answers,
    **check: Any,
) -> Iterator[Candidate]:
    codec = plain_codec(encoding)
    texts = [text for text in (_text(body, codec) for body in bodies[:MOST_TEXTS]) if text is not None]
    for layout in _layouts(texts, framing, answers):
        yield Candidate(encoding, framing, check.get("check"), layout, dict(noise.extra))


def _text(body: bytes, codec: str) -> str | None:
    try:
        text = body.decode(codec)
    except UnicodeDecodeError:
        return None
    text = text.removeprefix("\ufeff")
    return text if all(character >= " " or character in "\t\r\n\x1e\x1d\x1f" for character in text) else None


def _layouts(texts: list[str], framing: FramingDraft, answers: Answers) -> Iterator[LayoutDraft]:
    if not texts:
        return
    if not framing.row_end:
        stripped = [text.strip(" \r\n") for text in texts]
        yield from row_layouts(stripped, answers)
        yield from table_layouts(stripped, answers)
        yield from label_layouts(stripped, answers)
        yield from place_layouts(texts, answers)
        return
    row_end = framing.row_end.decode("ascii")
    written = escaped(framing.row_end, "ascii")
    yield from label_layouts(texts, answers, row_end, written)
    rows = [row for text in texts for row in text.split(row_end) if row.strip()]
    yield from row_layouts([row.strip(" ") for row in rows], answers, written)
    yield from place_layouts(rows, answers, written)


def _weigh(candidate: Candidate, data: bytes) -> None:
    """Try a candidate on bytes, with stand-ins for what nobody knows yet."""
    definition, _ = definition_of(candidate.tables(stand_in=True))
    if definition is None:
        candidate.worth = 0.0
        return
    score = score_of(events_of(definition, data), data)
    read = score.read_bytes / (score.read_bytes + score.refused_bytes or 1)
    worth = read * candidate.layout.explained
    worth += WORTH_OF_CHECK * read * (candidate.check is not None)
    worth += WORTH_OF_PLACES * (candidate.layout.kind == "fixed" and "trimmed" not in candidate.layout.table)
    worth += WORTH_OF_HEADER * read * ("header" in candidate.layout.table)
    marks = [candidate.framing.start, *(candidate.framing.block or {}).values()]
    worth += WORTH_OF_MARK * read * sum(map(bool, marks))
    worth -= COST_OF_FIELD * len(candidate.layout.guesses)
    if not score.readings:
        worth *= 0.3  # a layout without any number is hardly what an instrument sends
    candidate.worth = worth


def _ignore_what_comes_again(candidate: Candidate, data: bytes) -> None:
    """Let lines carry nothing that were refused, come again unchanged, or begin with a sign of a comment."""
    if candidate.check is not None or candidate.framing.start:
        return
    definition, _ = definition_of(candidate.tables(stand_in=True))
    if definition is None:
        return
    events = events_of(definition, data)
    refused = [data[e.span.offset : e.span.end] for e in events if isinstance(e, FrameRefused)]
    codec = plain_codec(candidate.encoding)
    lines = [as_plain_bytes(one, candidate.encoding).decode(codec, "replace").strip() for one in refused]
    found = Counter(beginning for line in lines if (beginning := _beginning_without_numbers(line, lines)))
    before = candidate.worth
    for beginning, count in found.items():
        if count < 2:
            continue
        tried = replace(candidate, ignore_lines=[*candidate.ignore_lines, beginning])
        _weigh(tried, data)
        if tried.worth > before and _still_reads(tried, candidate, data):
            candidate.ignore_lines, candidate.worth, before = tried.ignore_lines, tried.worth, tried.worth


def _beginning_without_numbers(line: str, lines: Sequence[str]) -> str:
    if line and line[0] in "#;*/!%=-~":
        return idle_beginning(line) if line[0] in "=-*~" else line[0]
    return line if line and lines.count(line) > 1 and not any(map(str.isdigit, line)) else ""


def _still_reads(tried: Candidate, before: Candidate, data: bytes) -> bool:
    """Tell whether no frame is left out that was read before."""
    counts = []
    for one in (tried, before):
        definition, _ = definition_of(one.tables(stand_in=True))
        if definition is None:
            return False
        counts.append(score_of(events_of(definition, data), data).frames_read)
    return counts[0] >= counts[1]

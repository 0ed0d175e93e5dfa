"""Faults in how a driver file cuts bytes into frames, and in what its check covers."""

from collections.abc import Iterator
from itertools import takewhile

from acquire.drivers.definition import Definition
from acquire.drivers.escapes import UNIT_BYTES, bytes_of, characters_of
from acquire.drivers.fields import ConstantField, Field
from acquire.drivers.layout_tables import Delimited


def framing_faults(definition: Definition) -> Iterator[str]:
    """Yield every fault of the tables framing, block and check, each with its key path."""
    yield from _mark_faults(definition)
    yield from _unmarked_faults(definition)
    yield from _filler_faults(definition)
    yield from _block_faults(definition)
    yield from _check_faults(definition)


def _mark_faults(definition: Definition) -> Iterator[str]:
    framing = definition.framing
    ends = [bytes_of(mark, framing.encoding) for mark in framing.ends]
    start = bytes_of(framing.start, framing.encoding)
    for at, mark in enumerate(ends):
        if not mark:
            yield f"framing.ends.{at}: an end mark needs at least one byte"
        if any(other and other != mark and other in mark[:-1] for other in ends):
            yield f"framing.ends.{at}: another end mark ends inside {mark!r}, so it would never be seen"
    if max(map(len, ends), default=0) + len(start) >= framing.max_length:
        yield f"framing.max_length: {framing.max_length} bytes have no room for more than the marks"
    if start and framing.distrust_first:
        yield "framing.distrust_first: with a start mark, every beginning is sure; leave it out"


def _unmarked_faults(definition: Definition) -> Iterator[str]:
    framing = definition.framing
    ways = "ends (end marks), length (of every frame) or silence_ms"
    if not framing.ends and framing.length is None and framing.silence_ms is None:
        yield f"framing.ends: nothing says where a frame ends; give {ways}"
    if framing.ends and framing.length is not None:
        yield "framing.length: a frame ends at its end mark or at its length, not both"
    if framing.length is not None and not framing.start and framing.silence_ms is None:
        yield "framing.length: nothing says where a frame begins; give start or silence_ms"
    if framing.length is not None and len(bytes_of(framing.start, framing.encoding)) >= framing.length:
        yield "framing.length: it has no room for more than the start mark"
    if framing.start and not framing.ends and framing.length is None:
        yield "framing.start: a frame that silence ends begins behind silence; leave it out"
    if framing.encoding in UNIT_BYTES and (framing.length or framing.silence_ms):
        yield f"framing.encoding: with {framing.encoding}, frames end at end marks alone"
    if framing.prompts and not framing.ends:
        yield "framing.prompts: prompts stand before frames that end at end marks"


def _filler_faults(definition: Definition) -> Iterator[str]:
    framing = definition.framing
    for key in ("filler", "ignore"):
        if any(ord(character) > 0x7F for character in _characters_or_none(getattr(framing, key), definition)):
            yield f"framing.{key}: only ASCII characters can be filler"
    if any(character >= " " for character in _characters_or_none(framing.ignore, definition)):
        yield "framing.ignore: only control characters mean nothing wherever they stand"
    if definition.check is not None and (framing.ignore or framing.ansi):
        yield (
            "check: a check cannot prove what is taken out of the middle of a frame; "
            "leave framing.ignore and framing.ansi out"
        )
    marks = [text for _, texts in definition.range_marks for text in texts]
    for key in ("prompts", "ignore_lines"):
        for at, text in enumerate(getattr(framing, key)):
            if not text.strip():
                yield f"framing.{key}.{at}: it must say more than blanks"
            elif any(text.strip().startswith(mark) or mark.startswith(text.strip()) for mark in marks):
                yield f"framing.{key}.{at}: {text!r} cannot be told from a range mark"


def _block_faults(definition: Definition) -> Iterator[str]:
    framing, block = definition.framing, definition.block
    if block is None:
        return
    if not framing.ends or framing.start:
        yield "block: a block is made of lines, which have end marks and no start mark"
    if framing.encoding in UNIT_BYTES:
        yield f"block: it is not known for {framing.encoding}; use end marks alone"
    if definition.check is not None:
        yield "check: a block has none; give the report a start mark and an end mark instead"
    if block.begin != block.begin.strip() or block.end != block.end.strip():
        yield "block: begin and end are compared without the blanks around a line; leave blanks out"
    if block.begin and block.begin == block.end:
        yield "block.end: the first and the last line begin alike"


def _check_faults(definition: Definition) -> Iterator[str]:
    check, framing = definition.check, definition.framing
    if check is None:
        return
    if check.includes_start and not framing.start:
        yield "check.includes_start: there is no start mark"
    if check.skip_bytes > _unread_bytes(definition):
        yield (
            f"check.skip_bytes: a check covers every field that is read, but {check.skip_bytes} bytes are "
            "left out at the beginning; only constant columns may stand there"
        )
    if check.includes_start and check.skip_bytes:
        yield "check.skip_bytes: bytes behind a start mark that is covered cannot be left out"
    if framing.encoding in UNIT_BYTES:
        yield f"check: it is not known for {framing.encoding}"
    if check.place == "after_end" and not framing.ends:
        yield "check.place: there is no end mark to stand behind"
    if check.includes_end and check.place != "after_end":
        yield "check.includes_end: a check before the end mark cannot cover it"
    if check.place == "before_end" and check.written.startswith("bytes") and framing.ends:
        yield "check.written: a check as bytes may look like an end mark; it must stand behind the end mark"
    if framing.encoding == "7bit" and check.written.startswith("bytes"):
        yield "check.written: bytes whose eighth bit is taken away cannot be compared"


def _unread_bytes(definition: Definition) -> int:
    """Return how many bytes at the beginning of every frame belong to constant columns. [bytes]"""
    layout = definition.delimited
    if layout is None or layout.header or layout.rows or definition.labelled is not None:
        return 0
    return min(_constant_bytes(record.columns, layout, definition) for record in layout.records)


def _constant_bytes(fields: tuple[Field, ...], layout: Delimited, definition: Definition) -> int:
    separator = len(bytes_of(layout.separator, definition.framing.encoding))
    constants = takewhile(lambda field: isinstance(field, ConstantField), fields)
    return sum(len(field.text) + separator for field in constants if isinstance(field, ConstantField))


def _characters_or_none(text: str, definition: Definition) -> str:
    """Return the characters of a text, or a character that is no ASCII if its bytes are no text."""
    try:
        return characters_of(text, definition.framing.encoding)
    except UnicodeDecodeError:
        return "\ufffd"

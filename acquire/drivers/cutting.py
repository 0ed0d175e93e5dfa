"""The cutter that a driver file asks for."""

from acquire.drivers.cuts import Cutter
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import UNIT_BYTES, bytes_of
from acquire.drivers.framing import Framer, Marks
from acquire.drivers.framing_blocks import BlockFramer
from acquire.drivers.framing_unmarked import LengthFramer, SilenceFramer
from acquire.drivers.trust import first_frame_is_sure


def cutter_of(definition: Definition, offset: int = 0) -> Cutter:
    """Return what cuts the bytes of a capture into frames.

    Parameters
    ----------
    definition : Definition
        A consistent driver file.
    offset : int
        Of the first byte that it will be given. [bytes]
    """
    framing = definition.framing
    filler = bytes_of(framing.filler, framing.encoding)
    distrust = framing.distrust_first
    if distrust is None:
        distrust = not first_frame_is_sure(definition)
    if framing.length is not None:
        start = bytes_of(framing.start, framing.encoding)
        return LengthFramer(framing.length, framing.max_length, start, filler, distrust_first=distrust)
    if not framing.ends:
        return SilenceFramer(framing.max_length, filler, distrust_first=distrust)
    if definition.block is None:
        return Framer(marks_of(definition, distrust_first=distrust), offset)
    lines = Framer(marks_of(definition, distrust_first=False), offset)
    return BlockFramer(
        lines,
        bytes_of(framing.ends[0], framing.encoding),
        framing.max_length,
        bytes_of(definition.block.begin, framing.encoding),
        bytes_of(definition.block.end, framing.encoding),
        distrust_first=distrust,
    )


def marks_of(definition: Definition, *, distrust_first: bool) -> Marks:
    """Return the marks of a driver file whose frames have an end mark."""
    framing, check = definition.framing, definition.check
    encoding = framing.encoding
    behind = 0
    if check is not None and check.place == "after_end":
        behind = len(bytes_of(check.mark, encoding)) + check.length
    return Marks(
        ends=tuple(bytes_of(mark, encoding) for mark in framing.ends),
        start=bytes_of(framing.start, encoding),
        max_length=framing.max_length,
        filler=bytes_of(framing.filler, encoding),
        idle=tuple(bytes_of(prompt, encoding) for prompt in framing.prompts),
        distrust_first=distrust_first,
        behind_end=behind,
        unit=UNIT_BYTES.get(encoding, 1),
    )

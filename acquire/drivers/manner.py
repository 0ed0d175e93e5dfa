"""The rehearsal of a driver file: how its instrument sends, and the messages of its own examples."""

from dataclasses import replace
from typing import Final

from acquire.driver import DriverFactory
from acquire.drivers.byte_order import BYTE_ORDER_MARKS
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import UNIT_BYTES, bytes_of
from acquire.drivers.expected import Example
from acquire.events import FrameRead
from acquire.rehearsal import Rehearsal, play

NS_PER_MS: Final = 1_000_000  # [ns/ms], exact


def manner_of(definition: Definition) -> Rehearsal:
    """Return how the instrument of a driver file sends, without any message yet."""
    framing = definition.framing
    return Rehearsal(
        lead=_byte_order_mark(definition) + _sure_beginning(definition),
        pause_ns=2 * (framing.silence_ms or 0) * NS_PER_MS,
        checked=definition.check is not None,
        begins_whole=framing.distrust_first is False,
        unit=UNIT_BYTES.get(framing.encoding, 1),
    )


def rehearsal_of(definition: Definition, factory: DriverFactory) -> Rehearsal:
    """Return the rehearsal of a driver file: the frames of its examples that are read.

    Under a header row, the lead is what stands before the first reading of the first example.
    """
    manner = manner_of(definition)
    frames = [_frames(definition, factory, manner, example) for example in definition.examples]
    if definition.delimited is None or not definition.delimited.header:
        messages = [raw for example in frames for raw, _ in example]
        return _with(manner, manner.lead, messages)
    for example in frames:
        says = [at for at, (_, said) in enumerate(example) if said]
        if says:
            before = b"".join(raw for raw, _ in example[: says[0]])
            return _with(manner, manner.lead + before, [raw for raw, _ in example[says[0] :]])
    return manner


def _with(manner: Rehearsal, lead: bytes, messages: list[bytes]) -> Rehearsal:
    return replace(manner, messages=tuple(messages), lead=lead)


def _frames(
    definition: Definition, factory: DriverFactory, manner: Rehearsal, example: Example
) -> list[tuple[bytes, bool]]:
    """Return the frames of an example that are read, and whether each says anything."""
    heard = manner.lead + bytes_of(example.raw, definition.framing.encoding)
    events = play(factory(), manner, [[heard[len(manner.lead) :]]])
    return [
        (heard[event.span.offset : event.span.end], bool(event.readings or event.notices))
        for event in events
        if isinstance(event, FrameRead)
    ]


def _byte_order_mark(definition: Definition) -> bytes:
    return BYTE_ORDER_MARKS["utf-16-le"] if definition.framing.encoding == "utf-16" else b""


def _sure_beginning(definition: Definition) -> bytes:
    """Return bytes without meaning, behind which a message surely begins."""
    framing, block, check = definition.framing, definition.block, definition.check
    if framing.length is not None and framing.start:
        return b""
    if not framing.ends:
        return b"\n"
    lead = bytes_of(framing.ends[0], framing.encoding)
    if block is not None and not block.begin:
        lead += bytes_of(block.end, framing.encoding) + lead
    if check is not None and check.place == "after_end":
        lead += bytes(len(bytes_of(check.mark, framing.encoding)) + check.length)
    return lead

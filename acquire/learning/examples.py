"""Examples for a driver file, taken from what it was made from."""

from collections.abc import Sequence
from typing import Any, Final

from acquire.drivers.definition import Definition
from acquire.drivers.escapes import CODECS, Encoding
from acquire.drivers.text import SEVEN_BITS
from acquire.events import Event, FrameRead, Outcome, Reading
from acquire.learning.toml_file import escaped

MOST_EXAMPLES: Final = 5
MOST_BYTES: Final = 4096  # of an example [bytes]
ROWS_BELOW: Final = 3  # a header row, in its example


def examples_of(definition: Definition, events: Sequence[Event], data: bytes) -> list[dict[str, Any]]:
    """Return examples: the first message, and one of each kind that differs."""
    encoding = definition.framing.encoding
    if definition.delimited is not None and definition.delimited.header:
        return _table_example(events, data, encoding)
    chosen: dict[object, FrameRead] = {}
    for event in events:
        if isinstance(event, FrameRead) and event.readings and event.span.length <= MOST_BYTES:
            chosen.setdefault(_kind(event), event)
    few = list(chosen.values())[:MOST_EXAMPLES]
    return [_example(data[one.span.offset : one.span.end], one.readings, encoding, data) for one in few]


def _kind(event: FrameRead) -> tuple[object, ...]:
    return tuple(
        (one.quantity, one.outcome, one.unit, one.stable, one.mode is None) for one in event.readings
    )


def _table_example(events: Sequence[Event], data: bytes, encoding: Encoding) -> list[dict[str, Any]]:
    """Return one example from the beginning of the bytes to some rows below the header row."""
    read = [at for at, event in enumerate(events) if isinstance(event, FrameRead) and event.readings]
    if not read:
        return []
    last = read[:ROWS_BELOW][-1]
    chosen = [event for event in events[: last + 1] if isinstance(event, FrameRead)]
    begin = 0 if events[last].span.end <= MOST_BYTES else chosen[0].span.offset
    readings = [reading for event in chosen for reading in event.readings]
    return [_example(data[begin : events[last].span.end], readings, encoding, data)]


def _example(raw: bytes, readings: Sequence[Reading], encoding: Encoding, data: bytes) -> dict[str, Any]:
    return {"raw": raw_text(raw, encoding, data), "expect": [_expected(one) for one in readings]}


def raw_text(raw: bytes, encoding: Encoding, data: bytes) -> str:
    """Return bytes as an example writes them."""
    if encoding == "7bit":
        return escaped(raw.translate(SEVEN_BITS), "7bit")
    if encoding == "utf-16":
        codec = "utf-16-be" if data.startswith(b"\xfe\xff") else "utf-16-le"
        return escaped(raw.decode(codec, "replace").removeprefix("\ufeff").encode("utf-8"), "utf-8")
    if encoding.startswith("utf-16"):
        return escaped(raw.decode(CODECS[encoding], "replace").encode("utf-8"), "utf-8")
    return escaped(raw, encoding)


def _expected(reading: Reading) -> dict[str, Any]:
    said: dict[str, Any] = {"quantity": reading.quantity}
    if reading.outcome is not Outcome.VALUE:
        said["outcome"] = reading.outcome.value
    if reading.value is not None:
        said["value"] = f"{reading.value:f}"
    said |= {"text": reading.text, "unit": reading.unit}
    for key in ("sample", "sequence", "instrument_time", "mode", "stable"):
        told = getattr(reading, key)
        if told is not None:
            said[key] = told
    return said

"""Pour bytes through a driver and say of every byte what became of it, as plain data for JSON."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import fields
from decimal import Decimal
from pathlib import Path
from typing import Final

from acquire.accounting import Account
from acquire.driver import DriverFactory
from acquire.events import (
    NOTICE_KINDS,
    CalibrationReport,
    CurvePoint,
    Event,
    FrameRead,
    FrameRefused,
    Instant,
    Notice,
    Reading,
)

READ_BYTES: Final = 65_536  # of a file at a time [bytes]
NO_TIME: Final = Instant(utc_us=0, monotonic_ns=0)
"""For bytes of which nobody knows when they came."""

JsonObject = dict[str, object]
"""Text, numbers, booleans, None, and lists and objects of them."""

_READING_KEYS: Final = Reading._fields


def pour(factory: DriverFactory, chunks: Iterable[tuple[bytes, Instant]]) -> Iterator[JsonObject]:
    """Yield one object an event, in the order of the bytes, and a summary at the end.

    Parameters
    ----------
    factory : DriverFactory
        Makes the driver to pour through.
    chunks : iterable of (bytes, Instant)
        What was heard, with the moment of its arrival; silence between chunks is told to the driver.

    Yields
    ------
    dict
        ``kind`` is ``frame_read``, ``frame_refused`` or ``filler`` with ``offset`` and ``length`` [bytes];
        ``fault`` for an error in the driver; at the end ``summary``, whose byte counts add up to ``bytes``.
    """
    account = Account(factory)
    tally: Counter[str] = Counter()
    at = NO_TIME
    for data, at in chunks:
        yield from _told(_silence(account, at), account, tally)
        yield from _told(account.receive(data, at), account, tally)
    yield from _told(account.closed(at), account, tally)
    yield _summary(account.heard_bytes, tally)


def pour_file(factory: DriverFactory, path: Path) -> Iterator[JsonObject]:
    """Yield what `pour` yields of the bytes of a file; raises `OSError` if it cannot be read."""
    yield from pour(factory, _chunks(path))


def _chunks(path: Path) -> Iterator[tuple[bytes, Instant]]:
    with path.open("rb") as file:
        while data := file.read(READ_BYTES):
            yield data, NO_TIME


def _silence(account: Account, until: Instant) -> list[Event]:
    """Tell the driver of each deadline that passed before the next chunk came."""
    events: list[Event] = []
    last: int | None = None
    while (deadline := account.next_deadline_ns) is not None and deadline <= until.monotonic_ns:
        if last is not None and deadline <= last:
            break  # a driver whose deadline does not move on would be told for ever
        last = deadline
        before_us = (until.monotonic_ns - deadline) // 1000
        events += account.tick(Instant(until.utc_us - before_us, deadline))
    return events


def _told(events: list[Event], account: Account, tally: Counter[str]) -> Iterator[JsonObject]:
    for event in events:
        _count(event, tally)
        yield event_as_json(event)
    fault = account.take_fault()
    if fault is not None:
        tally["faults"] += 1
        yield {"kind": "fault", "detail": fault}


def _count(event: Event, tally: Counter[str]) -> None:
    if isinstance(event, FrameRead):
        tally["read_frames"] += 1
        tally["read_bytes"] += event.span.length
        tally["readings"] += len(event.readings)
    elif isinstance(event, FrameRefused):
        tally["refused_frames"] += 1
        tally["refused_bytes"] += event.span.length
    else:
        tally["filler_bytes"] += event.span.length


def _summary(heard_bytes: int, tally: Counter[str]) -> JsonObject:
    accounted = tally["read_bytes"] + tally["refused_bytes"] + tally["filler_bytes"]
    return {
        "kind": "summary",
        "bytes": heard_bytes,
        "read_frames": tally["read_frames"],
        "refused_frames": tally["refused_frames"],
        "readings": tally["readings"],
        "read_bytes": tally["read_bytes"],
        "refused_bytes": tally["refused_bytes"],
        "filler_bytes": tally["filler_bytes"],
        "unaccounted": heard_bytes - accounted,
        "faults": tally["faults"],
    }


def event_as_json(event: Event) -> JsonObject:
    """Return an event as plain data: its kind, where it lies [bytes], and what it says."""
    told: JsonObject = {"kind": "filler", "offset": event.span.offset, "length": event.span.length}
    if isinstance(event, FrameRead):
        return told | {
            "kind": "frame_read",
            "readings": [reading_as_json(reading) for reading in event.readings],
            "notices": [notice_as_json(notice) for notice in event.notices],
        }
    if isinstance(event, FrameRefused):
        return told | {"kind": "frame_refused", "reason": event.reason, "detail": event.detail}
    return told


def reading_as_json(reading: Reading) -> JsonObject:
    """Return every field of a reading as plain data; the value as text, so that no digit changes."""
    told = {key: getattr(reading, key) for key in _READING_KEYS}
    return told | {"value": _digits(reading.value), "outcome": reading.outcome.value}


def notice_as_json(notice: Notice) -> JsonObject:
    """Return a notice as plain data: its kind, and every field."""
    told = {field.name: getattr(notice, field.name) for field in fields(notice)}
    if isinstance(notice, CurvePoint | CalibrationReport):
        told["values"] = [reading_as_json(value) for value in notice.values]
    return {"kind": NOTICE_KINDS[type(notice)], **told}


def _digits(value: Decimal | None) -> str | None:
    return None if value is None else f"{value:f}"

"""Run the examples of a driver file: the proof that it says what its writer meant."""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from acquire.driver import DriverFactory
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import bytes_of
from acquire.drivers.expected import Example, ExpectedNotice, ExpectedReading
from acquire.drivers.manner import manner_of
from acquire.events import NOTICE_KINDS, Event, FrameRead, FrameRefused, Notice, Reading
from acquire.rehearsal import play


def example_faults(definition: Definition, factory: DriverFactory) -> Iterator[str]:
    """Yield, for each example that fails, its number, how it was fed, what was expected and what came."""
    for number, example in enumerate(definition.examples):
        for way, events in _ways(definition, factory, example):
            difference = _difference(example, events)
            if difference:
                yield f"examples.{number} (fed {way}): {difference}"
                break


def _ways(
    definition: Definition, factory: DriverFactory, example: Example
) -> Iterator[tuple[str, list[Event]]]:
    """Play an example behind its lead in every way that must agree; what the lead gave is left out."""
    manner = manner_of(definition)
    raw = bytes_of(example.raw, definition.framing.encoding)
    begin, end = len(manner.lead), len(manner.lead) + len(raw)
    singly = [raw[at : at + 1] for at in range(len(raw))]
    halves = [[raw], [raw[: len(raw) // 2]]]
    for way, messages in (
        ("whole", [[raw]]),
        ("byte by byte", [singly]),
        ("with half a message behind it", halves),
    ):
        if messages is halves and not _is_complete(definition, raw):
            continue
        events = play(factory(), manner, messages)
        yield way, [event for event in events if begin <= event.span.offset and event.span.end <= end]


def _is_complete(definition: Definition, raw: bytes) -> bool:
    """Tell whether what is sent behind an example begins another message."""
    framing = definition.framing
    if not framing.ends or (definition.check is not None and definition.check.place == "after_end"):
        return True
    return raw.endswith(tuple(bytes_of(mark, framing.encoding) for mark in framing.ends))


def _difference(example: Example, events: list[Event]) -> str:
    """Return what came that was not expected; empty if all is as expected."""
    refused = [event for event in events if isinstance(event, FrameRefused)]
    readings = [reading for event in events if isinstance(event, FrameRead) for reading in event.readings]
    if isinstance(example.expect, str):
        return _refusal_difference(example.expect, refused, readings)
    if refused:
        return f"expected to be read, got refused as {refused[0].reason}: {refused[0].detail}"
    if not any(isinstance(event, FrameRead) for event in events):
        return "expected a message, got nothing but filler"
    if len(readings) != len(example.expect):
        return f"expected {len(example.expect)} readings, got {len(readings)}: {_listed(readings)}"
    told = _readings_difference("reading", example.expect, readings)
    return "; ".join(text for text in (told, _notices_difference(example, events)) if text)


def _refusal_difference(reason: str, refused: list[FrameRefused], readings: list[Reading]) -> str:
    if readings:
        return f"expected refused as {reason}, got {_listed(readings)}"
    if [event.reason for event in refused] == [reason]:
        return ""
    got = ", ".join(f"{event.reason} ({event.detail})" for event in refused) or "nothing refused"
    return f"expected refused as {reason}, got {got}"


def _readings_difference(name: str, wanted: Sequence[ExpectedReading], got: Sequence[Reading]) -> str:
    differences = (
        _fields_difference(f"{name} {at}", _said(one), other)
        for at, (one, other) in enumerate(zip(wanted, got, strict=True))
    )
    return "; ".join(text for text in differences if text)


def _notices_difference(example: Example, events: list[Event]) -> str:
    if example.notices is None:
        return ""
    got = [notice for event in events if isinstance(event, FrameRead) for notice in event.notices]
    kinds = [NOTICE_KINDS[type(notice)] for notice in got]
    if kinds != [notice.kind for notice in example.notices]:
        wanted = ", ".join(notice.kind for notice in example.notices) or "no notices"
        return f"expected {wanted}, got {', '.join(kinds) or 'no notices'}"
    pairs = enumerate(zip(example.notices, got, strict=True))
    differences = (_notice_difference(f"notice {at}", wanted, notice) for at, (wanted, notice) in pairs)
    return "; ".join(text for text in differences if text)


def _notice_difference(name: str, wanted: ExpectedNotice, got: Notice) -> str:
    said = {key: value for key, value in _said(wanted).items() if key not in ("kind", "values")}
    difference = _fields_difference(name, said, got)
    if wanted.values is None or difference:
        return difference
    values: tuple[Reading, ...] = getattr(got, "values", ())
    if len(values) != len(wanted.values):
        return f"{name}: expected {len(wanted.values)} values, got {len(values)}: {_listed(values)}"
    return _readings_difference(f"{name}, value", wanted.values, values)


def _said(wanted: ExpectedReading | ExpectedNotice) -> dict[str, object]:
    """Return what an expectation says; a reading always says its outcome."""
    said = {name: getattr(wanted, name) for name in sorted(wanted.model_fields_set)}
    if isinstance(wanted, ExpectedReading):
        said["outcome"] = wanted.outcome
        if wanted.value is not None:
            said["value"] = Decimal(wanted.value)
    return said


def _fields_difference(name: str, said: dict[str, object], got: Reading | Notice) -> str:
    wrong = {key: value for key, value in said.items() if getattr(got, key, None) != value}
    return "; ".join(
        f"{name}, {key}: expected {_plain(value)}, got {_plain(getattr(got, key, None))}"
        for key, value in wrong.items()
    )


def _listed(readings: Sequence[Reading]) -> str:
    return ", ".join(f"{reading.quantity} {reading.text} {reading.unit}" for reading in readings) or "none"


def _plain(value: object) -> str:
    return repr(value) if type(value) is str else str(value)

"""Run the examples of a driver file: the proof that it says what its writer meant."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from acquire.driver import DriverFactory
from acquire.drivers.definition import Definition, Example, ExpectedReading
from acquire.drivers.escapes import bytes_of
from acquire.events import Event, FrameRead, FrameRefused, Instant, Reading

NO_TIME = Instant(utc_us=0, monotonic_ns=0)


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
    """Feed an example behind an end mark, so that its beginning is sure, in every way that must agree."""
    encoding = definition.framing.encoding
    ends = tuple(bytes_of(mark, encoding) for mark in definition.framing.ends)
    raw = bytes_of(example.raw, encoding)
    whole = ends[0] + raw
    yield "whole", _run(factory, [whole])
    yield "byte by byte", _run(factory, [whole[at : at + 1] for at in range(len(whole))])
    if raw.endswith(ends):
        half = raw[: len(raw) // 2]
        events = _run(factory, [whole + half])
        yield "with half a message behind it", [event for event in events if event.span.end <= len(whole)]


def _run(factory: DriverFactory, pieces: Iterable[bytes]) -> list[Event]:
    driver = factory()
    events = [event for piece in pieces for event in driver.receive(piece, NO_TIME)]
    return events + driver.closed(NO_TIME)


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
    pairs = zip(example.expect, readings, strict=True)
    return "; ".join(
        text for at, (wanted, got) in enumerate(pairs) if (text := _reading_difference(at, wanted, got))
    )


def _refusal_difference(reason: str, refused: list[FrameRefused], readings: list[Reading]) -> str:
    if readings:
        return f"expected refused as {reason}, got {_listed(readings)}"
    if [event.reason for event in refused] == [reason]:
        return ""
    got = ", ".join(f"{event.reason} ({event.detail})" for event in refused) or "nothing refused"
    return f"expected refused as {reason}, got {got}"


def _reading_difference(at: int, wanted: ExpectedReading, got: Reading) -> str:
    said = {name: getattr(wanted, name) for name in (*sorted(wanted.model_fields_set), "outcome")}
    if said.get("value") is not None:
        said["value"] = Decimal(said["value"])
    wrong = {name: value for name, value in said.items() if getattr(got, name) != value}
    return "; ".join(
        f"reading {at}, {name}: expected {_plain(value)}, got {_plain(getattr(got, name))}"
        for name, value in wrong.items()
    )


def _listed(readings: list[Reading]) -> str:
    return ", ".join(f"{reading.quantity} {reading.text} {reading.unit}" for reading in readings) or "none"


def _plain(value: object) -> str:
    return repr(value) if type(value) is str else str(value)

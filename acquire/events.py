"""What a driver says of the bytes it was given: frozen facts, nothing else.

Every byte that an instrument sends ends up in exactly one event. A driver reports

* :class:`FrameRead` for a message it understood, with what it read in it,
* :class:`FrameRefused` for bytes it could not or must not read, with a reason,
* :class:`Filler` for bytes that it knows to mean nothing (line ends between messages, echo).

Spans of the events of one capture follow each other without a gap and without an overlap.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Instant:
    """A moment: UTC for people, a monotonic clock for differences."""

    utc_us: int
    """Microseconds since 1970-01-01T00:00:00Z. [µs]"""
    monotonic_ns: int
    """A clock that never steps; only differences mean something. [ns]"""


@dataclass(frozen=True, slots=True)
class Span:
    """Where a frame lies among the heard bytes of its capture; the bytes are never copied."""

    offset: int
    """Of the first byte, counted from the opening of the capture. [bytes]"""
    length: int
    """At least 1. [bytes]"""

    @property
    def end(self) -> int:
        """Offset of the first byte after the span. [bytes]"""
        return self.offset + self.length


class Outcome(StrEnum):
    """What kind of answer an instrument gave. Only VALUE is a measured number."""

    VALUE = "value"
    ABOVE_RANGE = "above_range"
    BELOW_RANGE = "below_range"
    NO_VALUE = "no_value"
    NOT_STABLE = "not_stable"
    INSTRUMENT_ERROR = "instrument_error"
    ABORTED = "aborted"


@dataclass(frozen=True, slots=True)
class Reading:
    """One quantity as the instrument gave it."""

    quantity: str
    """Code in the registry of `evaluate.units`, such as ``free_so2``."""
    outcome: Outcome
    text: str
    """The characters of the value exactly as sent, digits and all; empty if there were none."""
    value: Decimal | None
    """Of a VALUE, or the bound of an ABOVE_RANGE or BELOW_RANGE that named one; else None."""
    unit: str
    """Code in the registry of `evaluate.units`, such as ``mg/L``."""
    sample: str | None = None
    """The sample id the instrument sent, verbatim."""
    sequence: str | None = None
    """The instrument's own number for the message, verbatim."""
    instrument_time: str | None = None
    """The instrument's own time, ISO 8601 without offset, as far as it was sent."""
    mode: str | None = None
    """What the instrument says it was doing, verbatim."""
    stable: bool | None = None
    """The instrument's own mark; None if it sends none."""


@dataclass(frozen=True, slots=True)
class FrameRead:
    """A message that was understood. It may hold no reading (a banner, a status)."""

    span: Span
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True)
class FrameRefused:
    """Bytes that were kept but not read."""

    span: Span
    reason: str
    """One of `acquire.reasons`."""
    detail: str = ""
    """Plain words: what was wrong, what came, what was wanted."""


@dataclass(frozen=True, slots=True)
class Filler:
    """Bytes that the driver declares to carry nothing."""

    span: Span


Event = FrameRead | FrameRefused | Filler

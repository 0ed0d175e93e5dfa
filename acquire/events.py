"""What a driver says of the bytes it was given: frozen facts, nothing else.

Every byte that an instrument sends ends up in exactly one event. A driver reports

* :class:`FrameRead` for a message it understood, with the readings in it and what else it said,
* :class:`FrameRefused` for bytes it could not or must not read, with a reason,
* :class:`Filler` for bytes that it knows to mean nothing (line ends between messages, echo).

Spans of the events of one capture follow each other without a gap and without an overlap. What comes by the
thousand in a second is a named tuple, which is made several times as fast as a frozen dataclass.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final, NamedTuple


class Instant(NamedTuple):
    """A moment: UTC for people, a monotonic clock for differences."""

    utc_us: int
    """Microseconds since 1970-01-01T00:00:00Z. [µs]"""
    monotonic_ns: int
    """A clock that never steps; only differences mean something. [ns]"""


class Span(NamedTuple):
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


class Reading(NamedTuple):
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _FromMessage:
    """What a message said beside its numbers, as far as it was sent; each as in `Reading`."""

    sample: str | None = None
    sequence: str | None = None
    """Of a running titration: its number, the same in all its messages."""
    instrument_time: str | None = None
    mode: str | None = None


@dataclass(frozen=True, slots=True)
class CurvePoint(_FromMessage):
    """One point of a curve that is still being measured; its numbers are no readings of a sample."""

    values: tuple[Reading, ...]
    """In the order in which they were sent, each with its own quantity and unit."""

    @property
    def elapsed(self) -> Reading | None:
        """Time since the start of the run: the ``duration``. [its unit]"""
        return _first(self.values, "duration")

    @property
    def volume(self) -> Reading | None:
        """Titrant dispensed so far: the ``dispensed_volume``. [its unit]"""
        return _first(self.values, "dispensed_volume")

    @property
    def temperature(self) -> Reading | None:
        """Temperature of the sample: the ``temperature``. [its unit]"""
        return _first(self.values, "temperature")

    @property
    def signals(self) -> tuple[Reading, ...]:
        """What the electrodes said (``ph``, ``potential``, ``current``, …): all other values."""
        return tuple(value for value in self.values if value.quantity not in _NO_SIGNALS)


@dataclass(frozen=True, slots=True)
class CalibrationPoint:
    """What an electrode showed in one buffer."""

    buffer: Reading
    """The pH that the instrument takes the buffer for. [pH]"""
    potential: Reading | None = None
    """[its unit]"""
    temperature: Reading | None = None
    """[its unit]"""


@dataclass(frozen=True, slots=True)
class CalibrationReport(_FromMessage):
    """What an instrument says of its own calibration: a claim that is kept, not one that is used."""

    values: tuple[Reading, ...]
    """In the order in which they were sent, each with its own quantity and unit."""

    @property
    def slope(self) -> Reading | None:
        """The ``electrode_slope``: share of the ideal one. [%]"""
        return _first(self.values, "electrode_slope")

    @property
    def sensitivity(self) -> Reading | None:
        """The ``electrode_sensitivity``: potential a pH unit. [mV/pH]"""
        return _first(self.values, "electrode_sensitivity")

    @property
    def offset(self) -> Reading | None:
        """The ``electrode_offset``: potential at pH 7. [its unit]"""
        return _first(self.values, "electrode_offset")

    @property
    def points(self) -> tuple[CalibrationPoint, ...]:
        """The buffers: each ``ph`` with the ``potential`` and ``temperature`` that follow it."""
        begins = [at for at, value in enumerate(self.values) if value.quantity == "ph"]
        ends = [*begins[1:], len(self.values)]
        return tuple(
            CalibrationPoint(
                self.values[begin],
                _first(self.values[begin:end], "potential"),
                _first(self.values[begin:end], "temperature"),
            )
            for begin, end in zip(begins, ends, strict=False)
        )


@dataclass(frozen=True, slots=True)
class RunStarted(_FromMessage):
    """The instrument began to work on a sample."""


@dataclass(frozen=True, slots=True)
class RunEnded(_FromMessage):
    """The instrument is done with a sample; its readings, if any, are those of the same frame."""

    aborted: bool = False
    """It stopped before the end."""


@dataclass(frozen=True, slots=True)
class Status(_FromMessage):
    """A status or error code that the instrument sent."""

    code: str
    """Verbatim."""
    outcome: Outcome = Outcome.VALUE
    """What the code makes of the numbers of its message; VALUE if they stand."""
    words: str = ""
    """What the code means, if the driver knows."""


@dataclass(frozen=True, slots=True)
class Identity(_FromMessage):
    """What an instrument says it is: model, serial number, firmware."""

    text: str
    """Verbatim."""


Notice = CurvePoint | CalibrationReport | RunStarted | RunEnded | Status | Identity
"""What a message may say that is no reading."""

NOTICE_KINDS: Final = {
    CurvePoint: "curve_point",
    CalibrationReport: "calibration_report",
    RunStarted: "run_started",
    RunEnded: "run_ended",
    Status: "status",
    Identity: "identity",
}
"""What a notice is called where types have no names."""

_NO_SIGNALS: Final = frozenset({"duration", "dispensed_volume", "temperature"})


def _first(values: tuple[Reading, ...], quantity: str) -> Reading | None:
    return next((value for value in values if value.quantity == quantity), None)


class FrameRead(NamedTuple):
    """A message that was understood. It may hold no reading (a banner, a status)."""

    span: Span
    readings: tuple[Reading, ...] = ()
    notices: tuple[Notice, ...] = ()


class FrameRefused(NamedTuple):
    """Bytes that were kept but not read."""

    span: Span
    reason: str
    """One of `acquire.reasons`."""
    detail: str = ""
    """Plain words: what was wrong, what came, what was wanted."""


class Filler(NamedTuple):
    """Bytes that the driver declares to carry nothing."""

    span: Span


Event = FrameRead | FrameRefused | Filler

"""Bodies of readings and of the thread that leads from one to its bytes."""

from typing import Any, Literal

from pydantic import ConfigDict, Field

from api.schemas.captures import FrameBody, frame_body
from api.schemas.common import Body, LedgerNumber, Page, UtcTime
from api.times import rfc3339
from api.words import outcome_reason
from bench.instrument_clocks import offset_s
from storage.queries import DriverRecord, FrameRecord, ReadingRecord

OutcomeCode = Literal[
    "value",
    "above_range",
    "below_range",
    "no_value",
    "not_stable",
    "instrument_error",
    "aborted",
    "withdrawn",
]


class NormalBody(Body):
    """The value in the unit that its quantity is kept in, once it was taken in."""

    value: float | None
    value_text: str | None = Field(description="The same with all its digits.", examples=["28.4"])
    unit: str | None = Field(examples=["mg/L"])
    note: str | None = Field(description="Why there is no value, or what was done to it.")


class SentReading(Body):
    """One quantity as an instrument gave it, and nothing that was made of it."""

    revision: LedgerNumber = Field(description="Ledger number of this version.")
    reading_id: LedgerNumber = Field(description="Stays the same when a reading is amended.")
    version: int = Field(description="1 as the instrument gave it; higher after amendments.", ge=1)
    at: UtcTime = Field(description="When its last byte was heard, by the host's clock.")
    line: str
    instrument: str
    quantity: str = Field(description="Code of the quantity.")
    outcome: OutcomeCode = Field(description="What kind of answer it is; only `value` is a number.")
    reason: str | None = Field(description="Why there is no number, in plain words; null for a value.")
    value: float | None = Field(description="The number in `unit`; null unless the outcome is `value`.")
    value_text: str = Field(description="What the instrument sent, with every digit.")
    bound: float | None = Field(description="The bound that an out-of-range answer named, in `unit`.")
    unit: str = Field(description="Unit of `value` and `bound`.")
    sample: str | None = Field(description="The sample id that the instrument sent.")
    sequence: str | None = Field(description="The instrument's own number for the message.")
    instrument_time: str | None = Field(description="The instrument's own time, without an offset.")
    mode: str | None = Field(description="What the instrument says it was doing.")
    stable: bool | None = Field(description="The instrument's own mark; null if it sends none.")
    capture_id: LedgerNumber = Field(description="The capture that holds its bytes.")


class ReadingBody(SentReading):
    """One quantity as an instrument gave it."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "revision": 42,
                    "reading_id": 42,
                    "version": 1,
                    "at": "2025-10-03T08:15:30.123456Z",
                    "line": "burette",
                    "instrument": "burette-1",
                    "quantity": "free_so2",
                    "outcome": "value",
                    "reason": None,
                    "value": 28.4,
                    "value_text": "28.40",
                    "bound": None,
                    "unit": "mg/L",
                    "normal": {"value": 28.4, "value_text": "28.40", "unit": "mg/L", "note": None},
                    "sample": "W-1007",
                    "sequence": "118",
                    "instrument_time": "2025-10-03T10:15:29",
                    "mode": "F",
                    "stable": None,
                    "capture_id": 7,
                    "instrument_clock_offset_s": 7198.876544,
                }
            ]
        },
    )

    normal: NormalBody | None = Field(description="Null until the reading was taken in.")
    instrument_clock_offset_s: float | None = Field(
        description="How far the instrument's clock is ahead of the host's, its zone included. [s]"
    )


class ReadingsPage(Page[ReadingBody]):
    """A page of readings, oldest revision first."""


class DriverBody(Body):
    """The driver that read a frame."""

    name: str = Field(examples=["so2-burette"])
    version: str = Field(examples=["1"])
    definition_sha256: str = Field(description="Of the exact definition that was used.")


class ThreadFrameBody(FrameBody):
    """A frame with its bytes."""

    hex: str = Field(description="Its bytes in hexadecimal.", examples=["7048203d20332e34310d0a"])


class ReadingThread(Body):
    """A reading, all its versions, and where its bytes lie."""

    reading: ReadingBody = Field(description="The newest version.")
    versions: list[ReadingBody] = Field(description="Every version, oldest first.")
    frame: ThreadFrameBody = Field(description="The frame that it was read from.")
    driver: DriverBody


def sent_reading(record: ReadingRecord) -> SentReading:
    """Return the body of one version of a reading as its instrument gave it."""
    return SentReading(**_sent(record))


def reading_body(record: ReadingRecord) -> ReadingBody:
    """Return the body of one version of a reading.

    What comes out of the store is not looked at again: for a page of 1,000 that took longer than the rest.
    """
    return ReadingBody.model_construct(
        **_sent(record),
        normal=_normal_body(record, measured=record.outcome == "value"),
        instrument_clock_offset_s=_clock_offset_s(record),
    )


def _clock_offset_s(record: ReadingRecord) -> float | None:
    found = offset_s(record.instrument_time, record.at_us)
    return None if found is None else round(found, 6)


def _sent(record: ReadingRecord) -> dict[str, Any]:
    measured = record.outcome == "value"
    return {
        "revision": record.number,
        "reading_id": record.reading_id,
        "version": record.version,
        "at": rfc3339(record.at_us),
        "line": record.line,
        "instrument": record.instrument,
        "quantity": record.quantity,
        "outcome": record.outcome,
        "reason": outcome_reason(record.outcome),
        "value": record.value if measured else None,
        "value_text": record.value_text,
        "bound": None if measured else record.value,
        "unit": record.unit,
        "sample": record.sample,
        "sequence": record.sequence,
        "instrument_time": record.instrument_time,
        "mode": record.mode,
        "stable": record.stable,
        "capture_id": record.capture_number,
    }


def _normal_body(record: ReadingRecord, *, measured: bool) -> NormalBody | None:
    if not record.is_taken:
        return None
    return NormalBody.model_construct(
        value=record.normal_value if measured else None,
        value_text=record.normal_text if measured else None,
        unit=record.normal_unit,
        note=record.note,
    )


def thread_frame_body(record: FrameRecord, data: bytes) -> ThreadFrameBody:
    """Return the body of a frame with its bytes."""
    return ThreadFrameBody(**frame_body(record).model_dump(), hex=data.hex())


def driver_body(record: DriverRecord) -> DriverBody:
    """Return the body of a driver."""
    return DriverBody(name=record.name, version=record.version, definition_sha256=record.definition_sha256)

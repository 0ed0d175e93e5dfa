"""Bodies of the thread of a result."""

from typing import Any

from pydantic import Field

from api.schemas.bench import ControlRecordBody, ResultBody
from api.schemas.common import Body, LedgerNumber, UtcTime
from api.schemas.readings import ReadingThread


class NumberBody(Body):
    """An input or a constant of a formula with its number."""

    name: str
    value: float
    unit: str
    words: str = Field(description="What an input means; where a constant comes from.")


class WorkingBody(Body):
    """A formula with the numbers in it."""

    formula: str = Field(description="Id and version.", examples=["ta_ph_8_2/1"])
    text: str = Field(description="Plain arithmetic in the names of inputs and constants.")
    numbers: str = Field(description="The text with its numbers.")
    value: float = Field(description="As it is computed now.")
    unit: str
    agrees: bool = Field(description="Whether it is the stored value to 12 digits.")
    inputs: list[NumberBody]
    constants: list[NumberBody]
    source: str


class ValueVersionBody(Body):
    """A value that the result has had."""

    version: int
    amendment: int | None = Field(description="Null for the original.")
    state: str = Field(description="original, staged, in_force, undone or abandoned.")
    value: float | None
    unit: str
    uncertainty: float | None
    formula: str
    inputs: dict[str, float]
    actor: str
    at: UtcTime
    reason: str | None


class ActBody(Body):
    """Something that was done to the result."""

    number: LedgerNumber
    what: str
    actor: str
    at: UtcTime
    reason: str | None


class NamedVersionBody(Body):
    """A record in the version that counted."""

    code: str
    version: int
    fields: dict[str, Any]


class ControlOfBody(Body):
    """A control record that entered the number."""

    role: str = Field(examples=["factor"])
    record: ControlRecordBody


class StateOfBody(Body):
    """What was known of the electrode at that moment."""

    state: str = Field(description="valid, warned, expired, failed or unknown.")
    record: ControlRecordBody | None


class CoverBody(Body):
    """What the checks with one material say of the moment."""

    material: str
    covers: bool = Field(description="Whether one passed before, not longer ago than a check covers.")
    passed: ControlRecordBody | None = Field(description="The last that passed before.")
    following: ControlRecordBody | None = Field(description="The next one, whatever it says.")


class HoldOfBody(Body):
    """A hold in which the result lies."""

    number: LedgerNumber
    begin: UtcTime
    end: UtcTime | None
    settled: str | None


class PointBody(Body):
    """A point of the curve."""

    volume_ml: float | None
    signal: float | None
    quantity: str
    unit: str
    temperature_c: float | None
    elapsed_s: float | None


class RunOfBody(Body):
    """The titration that gave the number."""

    number: LedgerNumber
    started_at: UtcTime
    ended_at: UtcTime | None
    how: str | None
    warnings: list[str]
    notes: list[str]
    points: list[PointBody]


class TiedReadingBody(ReadingThread):
    """A reading with its bytes and its ties."""

    ties: list[dict[str, Any]]


class ResultThreadBody(Body):
    """A result with everything that it stood on, back to the bytes."""

    result: ResultBody
    working: WorkingBody | None = Field(description="Null where there is no number.")
    versions: list[ValueVersionBody] = Field(description="Every value it had, the original first.")
    history: list[ActBody]
    stood_on: list[dict[str, Any]] = Field(description="Role, source, id and version of each part.")
    software: str = Field(description="The program that made it.")
    method: NamedVersionBody
    sample: NamedVersionBody | None
    titrant: NamedVersionBody | None
    reagents: list[NamedVersionBody]
    controls: list[ControlOfBody]
    calibration: StateOfBody | None = Field(description="Null where the method asks for none.")
    verification: StateOfBody | None
    checks: list[CoverBody]
    holds: list[HoldOfBody]
    run: RunOfBody | None
    readings: list[TiedReadingBody]
    from_results: list[ResultBody] = Field(description="Results that it was derived from.")

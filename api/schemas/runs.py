"""Bodies of runs."""

from typing import Any

from pydantic import Field

from api.schemas.bench import CodeText, Reason
from api.schemas.common import Body, LedgerNumber, UtcTime


class RunWarningBody(Body):
    """What a check of the running curve found."""

    number: LedgerNumber
    at: UtcTime
    code: str
    words: str
    time_s: float
    volume_ml: float


class RunNoteBody(Body):
    """What a person said of a run."""

    number: LedgerNumber
    kind: str = Field(description="note, rejected or taken_back.")
    text: str
    actor: str
    at: UtcTime


class RunBody(Body):
    """A run as it stands now."""

    number: LedgerNumber
    instrument: str
    begun_at: UtcTime
    ended_at: UtcTime | None
    state: str = Field(description="running, ended, aborted, lost or timed_out.")
    sample: str | None
    item: int | None
    method: str | None
    method_version: int | None
    rejected: bool
    warnings: list[RunWarningBody]
    notes: list[RunNoteBody]
    results: list[int]


class RunPage(Body):
    """Runs in the order in which they began."""

    items: list[RunBody]
    next: int | None = Field(description="Give it as `after` for the next page; null on the last one.")


class CurvePointBody(Body):
    """One signal at one point of a curve."""

    number: LedgerNumber
    ordinal: int
    at: UtcTime
    volume_ml: float | None
    quantity: str
    value: float | None
    unit: str
    temperature_c: float | None
    elapsed_s: float | None


class CurveBody(Body):
    """The curve of a run so far."""

    run: LedgerNumber
    state: str
    points: list[CurvePointBody]


class NoteBody(Body):
    """A note on a run."""

    text: str = Field(max_length=5000)
    reason: Reason = None


class RunReasonBody(Body):
    """Why something is done with a run."""

    reason: Reason = None


class FromCurveBody(Body):
    """A method that finds its end point on the curve."""

    method: CodeText
    reason: Reason = None


class EndPointBody(Body):
    """What the curve of a run gives by a method; nothing is written."""

    run: LedgerNumber
    method: str
    volume_ml: float
    low_ml: float
    high_ml: float
    found_by: str
    value: float | None
    uncertainty: float | None
    unit: str
    formula: str
    inputs: dict[str, Any]

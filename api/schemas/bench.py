"""Bodies of the bench: records in versions, trays, ties, control records, holds, results."""

from typing import Annotated, Any

from pydantic import Field

from api.parameters import Moment
from api.schemas.common import Body, LedgerNumber, UtcTime

Reason = Annotated[str | None, Field(max_length=1000, description="Why, in words; it stands in the ledger.")]
CodeText = Annotated[str, Field(max_length=40, examples=["25-RI-01"])]


class RecordBody(Body):
    """One version of a record."""

    id: int
    code: str
    version: int
    number: LedgerNumber
    valid_from: UtcTime
    retired: bool
    fields: dict[str, Any] = Field(description="What the kind holds; checked by its model.")


class RecordPage(Body):
    """Records of one kind, in the order in which they were made."""

    items: list[RecordBody]
    next: int | None = Field(description="Give it as `after` for the next page; null on the last one.")


class VersionBody(Body):
    """A version of a record with who made it."""

    version: int
    number: LedgerNumber
    valid_from: UtcTime
    retired: bool
    fields: dict[str, Any]
    actor: str
    at: UtcTime
    reason: str | None


class HistoryBody(Body):
    """Every version of a record, oldest first."""

    items: list[VersionBody]


class NewRecord(Body):
    """A record to be made."""

    code: CodeText | None = Field(
        None, description="What people call it; a sample gets one if none is given."
    )
    fields: dict[str, Any] = Field(description="What the kind holds; checked by its model.")
    valid_from: Moment | None = Field(None, description="From when it holds; from now on if left out.")
    reason: Reason = None


class ChangedRecord(Body):
    """A record as it shall be."""

    version: int = Field(ge=1, description="The version that the change was made from.")
    fields: dict[str, Any] = Field(description="What the kind holds; checked by its model.")
    valid_from: Moment | None = None
    retired: bool = False
    reason: Reason = None


class RecordAnswer(Body):
    """Which version an act has made."""

    id: int
    code: str
    version: int


class NewItemBody(Body):
    """Something to be put on a tray."""

    kind: str = Field(examples=["sample"], description="sample, duplicate, standard, check, buffer or blank.")
    sample: CodeText | None = None
    standard: CodeText | None = Field(None, description="The reagent, of a standard, a check or a buffer.")
    tests: list[CodeText] = Field(default_factory=list, max_length=50, description="Methods asked of it.")


class PutBody(Body):
    """What is to be put at the end of a tray."""

    items: list[NewItemBody] = Field(min_length=1, max_length=200)
    reason: Reason = None


class ItemChangeBody(Body):
    """A change of one item; exactly one of the last three is given."""

    version: int = Field(ge=1, description="The version that the change was made from.")
    before: int | None = Field(None, description="Move it before this item; 0 for the end of the tray.")
    tests: list[CodeText] | None = Field(None, description="Ask these tests of it instead.")
    remove: bool = False
    reason: Reason = None


class ItemBody(Body):
    """A place on a tray as it is now."""

    id: int
    version: int
    number: LedgerNumber
    kind: str
    sample: str | None
    standard: str | None
    tests: list[str]
    state: str


class OnBody(Body):
    """What stands on an instrument."""

    since: UtcTime
    item: int | None
    sample: str | None
    set_by: str


class TrayBody(Body):
    """A tray in its order, and what stands on the instrument now."""

    instrument: str
    on: OnBody | None
    items: list[ItemBody]


class SetOnBody(Body):
    """What stands on the instrument from now on; nothing if both are left out."""

    item: int | None = None
    sample: CodeText | None = None
    set_by: str = Field("api", pattern="^(scan|tap|api)$")


class ItemsAnswer(Body):
    """Ids of the items that were put."""

    items: list[int]


class DoneAnswer(Body):
    """The act was done."""

    done: bool = True


class TieBody(Body):
    """Readings and the sample they belong to."""

    readings: list[int] = Field(min_length=1, max_length=1000)
    sample: CodeText | None = Field(None, description="Left out: they belong to none.")
    reason: Reason = None


class ReassignBody(Body):
    """The right sample of each reading, by reading id."""

    samples: dict[int, CodeText] = Field(min_length=1, max_length=1000)
    reason: Reason = None


class SwapBody(Body):
    """Two readings that change what they are tied to."""

    readings: tuple[int, int]
    reason: Reason = None


class TieHistoryBody(Body):
    """Every tie of a reading, oldest first."""

    items: list[dict[str, Any]]


class BufferBody(Body):
    """What an electrode showed in one buffer."""

    buffer: CodeText
    ph: Annotated[float, Field(ge=0, le=14)] = Field(description="pH of the buffer at its temperature.")
    mv: float
    temperature_c: Annotated[float, Field(ge=0, le=100)]
    edition: str = Field("certificate", max_length=100)


class ControlBody(Body):
    """What every control record says."""

    instrument: str | None = Field(None, max_length=200)
    at: Moment | None = Field(None, description="When it was measured; now if left out.")
    readings: list[int] = Field(
        default_factory=list, max_length=100, description="Readings it was made from."
    )
    reason: Reason = None


class CalibrationBody(ControlBody):
    """A calibration of an electrode."""

    instrument: str = Field(max_length=200)
    points: list[BufferBody] = Field(min_length=2, max_length=8)


class VerificationBody(ControlBody):
    """An independent buffer, read after a calibration."""

    instrument: str = Field(max_length=200)
    buffer: CodeText
    found_ph: Annotated[float, Field(ge=0, le=14)]
    buffer_ph: Annotated[float, Field(ge=0, le=14)]


class StandardisationBody(ControlBody):
    """Replicates of a titrant against a standard: given as strengths; typed ones are given twice."""

    titrant: CodeText
    strengths_mol_per_l: list[Annotated[float, Field(gt=0)]] = Field(min_length=2, max_length=20)
    again_mol_per_l: list[float] = Field(
        default_factory=list,
        max_length=20,
        description="The same figures once more, where no reading is named.",
    )


class BlankBody(ControlBody):
    """Replicates of a blank of a method."""

    method: CodeText
    volumes_ml: list[Annotated[float, Field(ge=0)]] = Field(min_length=1, max_length=20)


class PumpFactorBody(ControlBody):
    """A pump, tested by titrating a standard."""

    instrument: str = Field(max_length=200)
    true_value: Annotated[float, Field(gt=0)]
    found: list[Annotated[float, Field(gt=0)]] = Field(min_length=2, max_length=20)


class MassCheckBody(ControlBody):
    """A known mass on a balance."""

    instrument: str = Field(max_length=200)
    known_g: Annotated[float, Field(gt=0)]
    found_g: float


class CheckBody(ControlBody):
    """A check standard, measured by a method; `given` is what the method's formula takes first."""

    instrument: str = Field(max_length=200)
    material: CodeText
    method: CodeText
    given: float


class ControlRecordBody(Body):
    """A judged record."""

    number: LedgerNumber
    kind: str
    instrument: str | None
    subject: str | None
    method: str | None
    at: UtcTime
    quantity: str
    value: float | None
    unit: str
    uncertainty: float | None
    verdict: str
    reasons: list[str]
    details: dict[str, Any]
    hand: bool
    valid_until: UtcTime | None
    made_from: list[dict[str, Any]]


class ControlRecordPage(Body):
    """Control records in the order in which they were entered."""

    items: list[ControlRecordBody]
    next: int | None = Field(description="Give it as `after` for the next page; null on the last one.")


class StateBody(Body):
    """What the records of a kind say of a moment."""

    kind: str
    at: UtcTime
    state: str = Field(description="valid, warned, expired, failed or unknown.")
    record: int | None


class HoldBody(Body):
    """A hold as it stands now."""

    number: LedgerNumber
    code: str
    control_record: int | None
    instrument: str | None
    begin: UtcTime
    end: UtcTime | None
    settled: str | None
    results: list[int]
    history: list[dict[str, Any]]


class HoldList(Body):
    """Holds, oldest first."""

    items: list[HoldBody]


class SettleBody(Body):
    """A way out of a hold."""

    way: str = Field(examples=["accepted"], description="accepted, rejected or repeated.")
    reason: Reason = None


class NarrowBody(Body):
    """Where the cause was confined to."""

    begin: Moment
    end: Moment | None = None
    reason: Reason = None


class ReasonBody(Body):
    """A cause of a standing, with its plain words and what to do."""

    code: str
    words: str
    evidence: str
    advice: str


class PartBody(Body):
    """A result that another one was worked out from, as it stands now."""

    result: int
    quantity: str
    value: float | None
    unit: str
    at: UtcTime
    hours_apart: float = Field(description="From the result that stands on it, without sign. [h]")
    sample: str | None
    standing: str | None


class ResultBody(Body):
    """A result as it stands now."""

    id: int
    version: int
    revision: LedgerNumber
    sample: str | None
    lot: str | None
    quantity: str
    method: str
    method_version: int
    instrument: str | None
    at: UtcTime
    outcome: str
    value: float | None
    rounded: str | None = Field(description="As people read it: rounded by the method, or below its limit.")
    unit: str
    basis: str | None
    end_point: str | None
    uncertainty: float | None
    standing: str | None
    reasons: list[ReasonBody]
    released: bool
    mark: str | None
    hand: bool
    replicate_of: int | None
    amendment: int | None
    source: str | None
    formula: str = Field(description="Id and version.", examples=["molecular_so2/1"])
    inputs: dict[str, float] = Field(
        description="Every input of the formula: with its text they give the value again."
    )
    parts: list[PartBody] = Field(description="The results it was worked out from; none for a measured one.")


class ResultPage(Body):
    """Results in the order in which they were made."""

    items: list[ResultBody]
    next: int | None = Field(description="Give it as `after` for the next page; null on the last one.")
    head: LedgerNumber


class TypedResultBody(Body):
    """A value that a person read off, given twice."""

    method: CodeText
    sample: CodeText
    value: float
    again: float = Field(description="The same value once more.")
    at: Moment | None = None
    instrument: str | None = Field(None, max_length=200)
    reason: Reason = None


class MadeAnswer(Body):
    """What was made."""

    id: int


class ReleaseBody(Body):
    """Release or rejection of results."""

    results: list[int] = Field(min_length=1, max_length=500)
    reason: Reason = None

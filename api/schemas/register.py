"""Bodies of other laboratories, recall lists, the equipment register and uncertainty budgets."""

from typing import Annotated

from pydantic import Field

from api.parameters import Moment
from api.schemas.bench import CodeText, Reason, ResultBody
from api.schemas.common import Body, LedgerNumber, UtcTime


class TheirsBody(Body):
    """One number as another laboratory told it."""

    name: str = Field(min_length=1, max_length=200, description="Their word for the lot or sample, verbatim.")
    at: Moment
    quantity: str = Field(max_length=40)
    value: str = Field(max_length=40, description="As it stands on their paper, such as 1.85, 1,85 or <0.1.")
    unit: str = Field(max_length=40)
    uncertainty: Annotated[float, Field(gt=0)] | None = Field(None, description="Standard uncertainty.")
    method: str = Field("", max_length=200)


class OutsideEntryBody(Body):
    """What another laboratory told: all of it is entered, or nothing."""

    source: str = Field(min_length=1, max_length=200)
    items: list[TheirsBody] = Field(min_length=1, max_length=500)
    reason: Reason = None


class NumbersAnswer(Body):
    """What was entered."""

    items: list[LedgerNumber]


class OutsideBody(Body):
    """A number of another laboratory."""

    number: LedgerNumber
    source: str
    name: str
    lot: str | None
    sample: str | None
    known: bool = Field(description="False while nobody has said what the name means.")
    at: UtcTime
    quantity: str
    outcome: str
    value: float | None
    figure: str | None = Field(description="The figure, also of a bound, in the unit of the quantity.")
    unit: str
    uncertainty: float | None
    method: str
    actor: str


class OutsidePage(Body):
    """Numbers of other laboratories in the order in which they were entered."""

    items: list[OutsideBody]
    next: int | None = Field(description="Give it as `after` for the next page; null on the last one.")


class PairBody(Body):
    """A number of theirs beside the nearest of ours."""

    theirs: OutsideBody
    result: int
    ours: float
    difference: float = Field(description="Ours less theirs. [unit of the quantity]")
    zeta: float | None
    zeta_says: str | None


class ComparisonBody(Body):
    """How ours stand against those of another laboratory."""

    source: str
    quantity: str
    pairs: list[PairBody]
    bias: float | None
    low: float | None
    high: float | None
    significant: bool | None
    why: str = Field(description="Why there is no bias; empty if there is one.")


class RecalledBody(Body):
    """A result that stood on a bottle, and how."""

    ways: list[str]
    result: ResultBody


class RecallBody(Body):
    """Everything that stood on a bottle."""

    reagent: str
    control_records: list[LedgerNumber]
    items: list[RecalledBody]


class ServiceEntryBody(Body):
    """What was done to an instrument."""

    what: str = Field("", max_length=4000)
    parts: dict[CodeText, str] = Field(
        default_factory=dict, description="The parts that were put in; an empty name takes one out."
    )
    at: Moment | None = Field(None, description="When; now if left out.")
    next_due: Moment | None = None
    reason: Reason = None


class PartChangeBody(Body):
    """A part that was put in, taken out or changed."""

    part: str
    before: str | None
    after: str | None


class ServiceBody(Body):
    """What was done to an instrument at one time."""

    version: int
    at: UtcTime
    what: str
    parts: list[PartChangeBody]
    next_due: UtcTime | None
    actor: str
    reason: str | None


class ServiceList(Body):
    """What was done to an instrument, oldest first."""

    instrument: str
    items: list[ServiceBody]


class VersionAnswer(Body):
    """Which version an act has made."""

    version: int


class ShareBody(Body):
    """What one input adds to the uncertainty of a result."""

    input: str
    value: float
    unit: str
    uncertainty: float
    contribution: float
    share: float


class BudgetBody(Body):
    """A result with its uncertainty and where it comes from."""

    result: int
    value: float | None
    unit: str
    uncertainty: float | None = Field(description="Standard uncertainty.")
    expanded: float | None = Field(description="Twice that.")
    by: str = Field(description="budget, relative or none: how the method says it.")
    items: list[ShareBody]

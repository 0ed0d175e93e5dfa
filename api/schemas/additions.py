"""Bodies of additions."""

from typing import Annotated, Any

from pydantic import Field

from api.parameters import Moment
from api.schemas.bench import CodeText, Reason, ReasonBody
from api.schemas.cellar import BindingBody
from api.schemas.common import Body, LedgerNumber, UtcTime


class PlanBody(Body):
    """An addition that is wanted: a free SO2, or a dose."""

    lot: CodeText
    substance: CodeText
    vessel: CodeText | None = None
    target_free_mg_l: Annotated[float, Field(ge=0, le=500)] | None = None
    dose_mg_l: Annotated[float, Field(gt=0, le=500)] | None = None
    volume_l: float | None = Field(
        None, description="Wine as it is, less the ullage; that of the lot if left out. More than 0. [L]"
    )
    volume_u_share: Annotated[float, Field(ge=0, le=1)] = 0.0
    step_g: Annotated[float, Field(gt=0, le=100, description="Smallest step of the balance. [g]")] = 0.1
    water_ml: Annotated[float, Field(ge=0, le=1e6)] = 0.0
    limit_mg_l: Annotated[float, Field(gt=0, le=1000)] | None = Field(
        None, description="A limit of total SO2 that you answer for, with a reason."
    )
    constants: Annotated[str, Field(max_length=40)] | None = None
    confirmed: bool = Field(default=False, description="A second one within hours is meant; wants a reason.")
    reason: Reason = None


class WeighingBody(Body):
    """The mass of an addition: a reading of a balance, or typed twice."""

    reading: int | None = Field(None, description="What the balance showed.")
    mass_g: float | None = None
    again_g: float | None = Field(None, description="The same mass once more, where it is typed.")
    reason: Reason = None


class DoneBody(Body):
    """The weighed mass went in."""

    at: Moment | None = Field(None, description="When; now if left out.")
    water_ml: Annotated[float, Field(ge=0, le=1e6)] | None = None
    not_before_d: Annotated[float, Field(ge=0, le=100)] = 5.0
    by_d: Annotated[float, Field(ge=0, le=200)] = 8.0
    confirmed: bool = False
    reason: Reason = None


class StepBody(Body):
    """What became of an addition."""

    number: LedgerNumber
    step: str
    at: UtcTime
    mass_g: float | None
    reading: int | None
    details: dict[str, Any]
    actor: str
    reason: str | None


class RetestBody(Body):
    """When to look again."""

    not_before: UtcTime
    by: UtcTime
    state: str = Field(description="settling, due, overdue or measured.")
    result: int | None


class FoundBody(Body):
    """What was found once it had settled, beside what was expected. [mg/L]"""

    result: int
    free_before_mg_l: float
    added_mg_l: float
    expected_mg_l: float
    low_mg_l: float
    high_mg_l: float
    found_mg_l: float
    as_expected: bool
    bound_share: float


class AdditionBody(Body):
    """An addition as it stands now."""

    number: LedgerNumber
    lot: str | None
    vessel: str | None
    substance: str | None
    state: str = Field(description="planned, weighed, done or cancelled.")
    planned_at: UtcTime
    actor: str
    reason: str | None
    plan: dict[str, Any]
    flags: list[ReasonBody]
    steps: list[StepBody]
    retest: RetestBody | None
    found: FoundBody | None


class AdditionPage(Body):
    """Additions in the order in which they were planned."""

    items: list[AdditionBody]
    next: int | None = Field(description="Give it as `after` for the next page; null on the last one.")


class LotBindingBody(Body):
    """How much of an addition binds in a lot, and what that is known from."""

    lot: str
    binding: BindingBody
    found: list[FoundBody]


class WaterBody(Body):
    """The water that additions brought into a lot."""

    lot: str
    volume_l: float
    water_l: float
    share: float
    left_l: float
    allowed_share: float
    within: bool
    additions: list[LedgerNumber]
    caution: str

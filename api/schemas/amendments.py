"""Bodies of the what-if sheet."""

from typing import Annotated, Literal

from pydantic import Field

from api.parameters import Moment
from api.schemas.bench import CodeText, Reason
from api.schemas.common import Body
from bench.amendments import FactorFrom, WhatIf


class FactorBody(Body):
    """A factor and the moment from which, or at which, it held."""

    at: Moment
    factor: Annotated[float, Field(gt=0, le=10)]


class SupposeBody(Body):
    """What is to be supposed of a stretch of time: a titrant's factors, or a method's aliquot."""

    begin: Moment = Field(description="First moment of the window.")
    end: Moment = Field(description="Last moment of the window.")
    titrant: CodeText | None = None
    factors: list[FactorBody] = Field(default_factory=list, max_length=100)
    course: Literal["step", "line"] = Field(
        "step", description="Whether a factor holds until the next, or changes evenly between them."
    )
    method: CodeText | None = None
    sample_ml: float | None = Field(None, description="The aliquot; more than 0. [mL]")


class ApplyBody(SupposeBody):
    """A supposition that is to be applied."""

    reason: Reason = None


class UndoBody(Body):
    """Why an amendment is taken back."""

    reason: Reason = None


class DecisionChangeBody(Body):
    """A decision that falls otherwise."""

    about: str = Field(examples=["band of 25-PN-01"])
    before: str
    after: str


class SupposedBody(Body):
    """What a result is, and what it would be."""

    result: int
    old: float | None
    new: float
    unit: str
    change: float | None
    decisions: list[DecisionChangeBody] = Field(description="Which decisions change with it.")


class PreviewBody(Body):
    """Every result that would change, in the order in which they were made."""

    items: list[SupposedBody]


class AmendmentBody(Body):
    """An amendment as it stands now."""

    id: int
    state: str = Field(description="staged, in_force, undone or abandoned.")
    results: list[int]
    expected: int = Field(description="How many results it will change; while it is staged fewer are there.")


def what_if(body: SupposeBody) -> WhatIf:
    """Return what a body supposes."""
    return WhatIf(
        from_us=body.begin,
        to_us=body.end,
        titrant=body.titrant,
        factors=tuple(FactorFrom(one.at, one.factor) for one in body.factors),
        course=body.course,
        method=body.method,
        sample_ml=body.sample_ml,
    )

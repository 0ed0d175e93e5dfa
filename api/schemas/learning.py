"""Bodies of learning a driver file from stored bytes."""

from typing import Annotated, Any, Self

from pydantic import Field, StringConstraints, model_validator

from api.parameters import LARGEST
from api.schemas.common import Body

Plain = Annotated[str, StringConstraints(pattern=r"^[^\x00-\x1f\x7f]+$", max_length=200)]
"""Text without control characters."""


class LearnBody(Body):
    """From which bytes to learn, and what somebody answered."""

    capture: Annotated[int, Field(ge=1, le=LARGEST)] | None = Field(
        None, description="Number of a capture. Give this or a line."
    )
    line: Plain | None = Field(
        None, description="Name of a line: its newest capture in which anything was heard."
    )
    answers: dict[Plain, Plain] = Field(
        default_factory=dict,
        max_length=100,
        description="Answers by the keys of the questions of an earlier proposal.",
        examples=[{"turb": "turbidity:NTU", "lamp": "ignore"}],
    )
    name: Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=64)] = Field(
        "learnt", description="Of the driver."
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.capture is None) == (self.line is None):
            raise ValueError("give either capture or line")
        return self


class ClaimBody(Body):
    """One thing that is taken for true."""

    about: str = Field(examples=["framing", "turb"])
    says: str = Field(examples=["turbidity in NTU"])
    confidence: float = Field(ge=0, le=1)
    because: str = Field(description="What was seen, with its numbers.")
    is_guess: bool = Field(description="Bytes cannot show it: it rests on a name, a unit or what is usual.")


class QuestionBody(Body):
    """What bytes cannot tell."""

    key: str = Field(description="By which it is answered.", examples=["lamp"])
    asks: str
    seen: list[str] = Field(description="Texts for a person to recognise.")
    meanwhile: str = Field(description="What the proposal does until somebody answers.")
    choices: list[str] = Field(description="Answers that would fit; there may be others.")


class RefusedBody(Body):
    """Frames that were refused for one reason."""

    reason: str = Field(examples=["not_a_number"])
    count: int = Field(ge=1)
    detail: str = Field(description="What was wrong with the first of them.")
    example: str = Field(description="Its bytes, or their beginning; what is no ASCII as escapes.")


class ScoreBody(Body):
    """What the proposed driver made of some bytes."""

    frames_read: int = Field(ge=0)
    frames_refused: int = Field(ge=0)
    readings: int = Field(ge=0)
    read_bytes: int = Field(ge=0, description="[bytes]")
    refused_bytes: int = Field(ge=0, description="[bytes]")
    filler_bytes: int = Field(ge=0, description="[bytes]")
    refused: list[RefusedBody] = Field(description="The most frequent reason first.")


class LearntBody(Body):
    """A proposal."""

    capture: int = Field(ge=1, description="Number of the capture that was looked at.")
    looked_at_bytes: int = Field(ge=0, description="From its beginning. [bytes]")
    standing: str = Field(
        description="good, doubtful, needs_answers (nobody said what any number is) or nothing.",
        examples=["good"],
    )
    why: str
    driver: str = Field(description="The driver file; empty if there is none.")
    claims: list[ClaimBody]
    questions: list[QuestionBody]
    training: ScoreBody = Field(description="Of the first half, from which it was made.")
    held_out: ScoreBody = Field(description="Of the second half, which it had not seen.")
    held_out_from: int = Field(ge=0, description="Where the second half begins. [bytes]")
    unused_answers: list[str] = Field(description="Answers that fit no question and no field.")


def learnt_body(capture: int, size: int, proposal: Any) -> LearntBody:
    """Return a proposal with what it was made from."""
    return LearntBody.model_validate({**proposal, "capture": capture, "looked_at_bytes": size})

"""What every kind of record shares."""

from typing import Annotated, Final, NamedTuple

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

CODE_PATTERN: Final = r"^[A-Za-z0-9][A-Za-z0-9._\-]{0,39}$"

Code = Annotated[str, StringConstraints(pattern=CODE_PATTERN)]
"""The name of a record among its kind."""
Line = Annotated[str, StringConstraints(max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]
"""One line of text."""
Text = Annotated[str, StringConstraints(max_length=4000, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f]*$")]
"""Some lines of text."""
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Share = Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)]
Number = Annotated[float, Field(allow_inf_nan=False)]


class Names(NamedTuple):
    """Marks a field that holds the code of another record, or a list of them."""

    kind: str


Moment = AwareDatetime
"""A time with its offset from UTC."""


class Body(BaseModel):
    """What a record holds beside its code. Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)

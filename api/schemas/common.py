"""Types that several bodies share."""

from typing import Annotated, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

UtcTime = Annotated[
    str,
    WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2025-10-03T08:15:30.123456Z"]}),
]
"""RFC 3339 in UTC with microseconds and ``Z``."""

LedgerNumber = Annotated[int, Field(ge=0, le=2**63 - 1, examples=[42])]
"""A number of the ledger: revision, ``since`` cursor and event id."""


Item = TypeVar("Item")


class Body(BaseModel):
    """Base of all bodies: immutable, exact."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Page(Body, Generic[Item]):
    """Items, and where to go on."""

    items: list[Item]
    next: str | None = Field(description="Cursor of the next page; null on the last one.")
    head: int = Field(description="Newest ledger number when the page was read; the next `since`.", ge=0)

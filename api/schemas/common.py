"""Types that several bodies share."""

from collections.abc import Iterable, Sequence
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Final, Generic, TypeVar, Union, get_args, get_origin

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
)

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

    @field_validator("*", mode="before")
    @classmethod
    def _is_no_number_in_disguise(cls, value: Any, info: ValidationInfo) -> Any:
        """Refuse true, false and text where a number is wanted: they would count as 1, 0 and a number."""
        if isinstance(value, _DISGUISES):
            wanted = _numbers_of(cls, info.field_name or "")
            if wanted is not None and in_disguise(wanted, value):
                raise ValueError("wants a number, not true, false or text")
        return value


_DISGUISES: Final = (bool, str, list, dict)
"""What is no number, or may hold something that is none."""


@cache
def _numbers_of(body: type[Body], name: str) -> Any:
    """Return what a field wants; None if there is no number in it, or one that it reads out of text."""
    field = body.model_fields[name]
    return None if _reads_by_itself(field.metadata) else _with_numbers(field.annotation)


def _with_numbers(wanted: Any) -> Any:
    return wanted if wanted in (int, float) or any(map(_with_numbers, get_args(wanted))) else None


def in_disguise(wanted: Any, value: Any) -> bool:
    """Tell whether a value, or one in it, is no number where nothing but a number is wanted."""
    parts = get_args(wanted)
    match get_origin(wanted):
        case None:
            return wanted in {int, float} and isinstance(value, bool | str)
        case origin if origin is Annotated:
            return not _reads_by_itself(parts[1:]) and in_disguise(parts[0], value)
        case origin if origin in {Union, UnionType}:
            return all(in_disguise(part, value) for part in parts if part is not NoneType)
        case origin if origin is dict and isinstance(value, dict):
            return any(in_disguise(parts[1], one) for one in value.values())
        case origin if origin in {list, Sequence} and isinstance(value, list):
            return any(in_disguise(parts[0], one) for one in value)
        case origin if origin is tuple and isinstance(value, list):
            kinds = [parts[0]] * len(value) if parts[-1:] == (Ellipsis,) else parts
            return any(map(in_disguise, kinds, value))
        case _:
            return False


def _reads_by_itself(marks: Iterable[Any]) -> bool:
    """Tell whether a type turns text into a number on purpose, as a time does."""
    return any(isinstance(mark, BeforeValidator) for mark in marks)


class Page(Body, Generic[Item]):
    """Items, and where to go on."""

    items: list[Item]
    next: str | None = Field(description="Cursor of the next page; null on the last one.")
    head: int = Field(description="Newest ledger number when the page was read; the next `since`.", ge=0)

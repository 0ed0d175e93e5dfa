"""Bodies of pins: a pin goes in and never comes out."""

from typing import Annotated

from pydantic import Field

from api.schemas.bench import Reason
from api.schemas.common import Body, UtcTime

PinDigits = Annotated[
    str, Field(max_length=40, description="4 to 8 digits.", json_schema_extra={"writeOnly": True})
]


class PinStateBody(Body):
    """What may be known of a pin."""

    is_set: bool
    locked_until: UtcTime | None = Field(description="Null while it is not locked.")
    tries_left: int = Field(ge=0)


class SetPinBody(Body):
    """A new pin."""

    pin: PinDigits
    old: PinDigits | None = Field(None, description="The pin so far; a manager needs none.")
    reason: Reason = None


class CheckPinBody(Body):
    """A try."""

    pin: PinDigits


class PinRightBody(Body):
    """The pin is right: who it is."""

    person: str
    name: str
    roles: list[str]

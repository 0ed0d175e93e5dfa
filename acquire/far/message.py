"""What a far bench says of one of its lines, read strictly: whatever is no message of ours is told apart."""

import json
from base64 import b64decode
from datetime import UTC, datetime, timedelta
from typing import Annotated, Final, Literal

from pydantic import AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

SCHEMA: Final = "tundish.captures/"
VERSION: Final = 1
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)

Count = Annotated[int, Field(ge=0, le=2**63 - 1)]
Offset = Annotated[int, Field(ge=0, le=2**62)]
"""[bytes]"""


def _decoded(text: object) -> object:
    """Return the bytes of base64, without forgiving anything."""
    return b64decode(text, validate=True) if isinstance(text, str) else text


Data = Annotated[bytes, BeforeValidator(_decoded)]


class FarMessageError(Exception):
    """Something came that cannot be taken; `is_newer` if a newer program than this one sent it."""

    def __init__(self, text: str, *, is_newer: bool = False) -> None:
        self.is_newer = is_newer
        super().__init__(text)


def _microseconds(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


class FarEvent(BaseModel):
    """One thing that happened there."""

    model_config = ConfigDict(frozen=True)

    revision: Count
    what: Literal["opened", "heard", "sent", "silent", "closed", "gap"]
    at: AwareDatetime
    capture: Count | None = None
    offset: Offset | None = None
    data: Data | None = None
    instrument: str | None = None
    device: str | None = None
    settings: str | None = None
    ending: Literal["stopped", "lost", "complete", "found_open"] | None = None
    why: str | None = None
    begin: AwareDatetime | None = None
    lost_bytes: Offset | None = None

    @property
    def at_us(self) -> int:
        """By the far bench's clock. [µs since 1970 UTC]"""
        return _microseconds(self.at)

    @property
    def begin_us(self) -> int:
        """Of a gap. [µs since 1970 UTC]"""
        return _microseconds(self.begin or self.at)

    def model_post_init(self, _context: object) -> None:
        """Refuse an event that lacks what its kind needs."""
        wanted: dict[str, tuple[str, ...]] = {"silent": ("capture",)}
        wanted |= {"heard": ("capture", "offset", "data"), "sent": ("capture", "offset", "data")}
        wanted |= {"opened": ("capture", "instrument"), "closed": ("capture", "ending")}
        for name in wanted.get(self.what, ()):
            if getattr(self, name) is None:
                raise ValueError(f"{self.what} without {name}")


class FarMessage(BaseModel):
    """What happened next on one line."""

    model_config = ConfigDict(frozen=True)

    site: str
    store: Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{1,64}$")]
    store_kind: str
    line: str
    sent_at: AwareDatetime
    previous: Count
    events: tuple[FarEvent, ...]

    @property
    def sent_at_us(self) -> int:
        """By the far bench's clock. [µs since 1970 UTC]"""
        return _microseconds(self.sent_at)


def read_message(payload: bytes) -> FarMessage:
    """Read what a far bench published.

    Raises
    ------
    FarMessageError
        If it is something else, or from a program that is newer than this one.
    """
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise FarMessageError("what came is no message of a far bench: it is not JSON") from error
    schema = said.get("schema") if isinstance(said, dict) else None
    if not isinstance(schema, str) or not schema.startswith(SCHEMA):
        raise FarMessageError(f"what came is no message of a far bench: its schema is {schema!r:.60}")
    if schema != f"{SCHEMA}{VERSION}":
        raise FarMessageError(
            f"the far bench speaks {schema!r:.60}, this program {SCHEMA}{VERSION}: bring both to one "
            "version; what it says waits meanwhile",
            is_newer=True,
        )
    try:
        message = FarMessage.model_validate_json(payload, strict=True)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(step) for step in first["loc"])
        raise FarMessageError(f"a message of a far bench is broken at {place}: {first['msg']}") from error
    revisions = [event.revision for event in message.events]
    if revisions != sorted(set(revisions)) or (revisions and revisions[0] <= message.previous):
        raise FarMessageError("a message of a far bench is broken: its events are not in order")
    return message

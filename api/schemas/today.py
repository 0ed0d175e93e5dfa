"""Bodies of the due list, the alerts and the cards."""

from typing import Annotated

from pydantic import Field

from api.schemas.bench import Reason
from api.schemas.common import Body, LedgerNumber, UtcTime

Day = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$", examples=["2025-10-14"])]


class DueBody(Body):
    """One thing that is to be done."""

    rank: int = Field(ge=1, description="1 is first.")
    code: str = Field(examples=["check.due"])
    subject: str = Field(examples=["HC1 at bur-2"])
    since: UtcTime | None = Field(description="From when on it is, or will be, due; null for always.")
    is_due: bool = Field(description="False for what is due soon.")
    words: str
    action: str
    evidence: str


class DueListBody(Body):
    """What must be done, in its order."""

    now: UtcTime
    items: list[DueBody]


class AlertBody(Body):
    """A cause that puts numbers in use at stake."""

    key: str = Field(description="Names this cause; acknowledge it by this.")
    rank: int = Field(ge=1)
    code: str
    subject: str
    since: UtcTime | None
    words: str
    action: str
    evidence: str


class SeenAlertBody(Body):
    """An alert that somebody has seen."""

    number: LedgerNumber
    code: str
    subject: str
    evidence: str
    actor: str
    at: UtcTime
    reason: str | None


class AlertsBody(Body):
    """The few that matter, ranked; those that nobody has seen."""

    items: list[AlertBody]
    more: int = Field(ge=0, description="How many stand behind those that are told.")
    acknowledged: list[SeenAlertBody] = Field(description="The newest that were seen.")


class AcknowledgeBody(Body):
    """The alert that was seen."""

    key: str = Field(max_length=300)
    reason: Reason = None


class PointBody(Body):
    """One point of a card."""

    code: str
    words: str
    by: str = Field(description="rule or person: who can tell.")
    is_true: bool | None = Field(description="Null where only a person can tell.")
    evidence: list[str]


class LeftOpenBody(Body):
    """A point that the newest closing card left open."""

    day: Day
    code: str
    words: str
    reason: str
    actor: str


class SignedPointBody(Body):
    """A point as it was signed."""

    code: str
    is_true: bool
    reason: str | None
    evidence: list[str]


class SignatureBody(Body):
    """Who signed a card, when, and what it said."""

    number: LedgerNumber
    actor: str
    at: UtcTime
    points: list[SignedPointBody]


class CardBody(Body):
    """A card as it is now, and as it was signed."""

    kind: str
    day: Day
    points: list[PointBody]
    left_open: list[LeftOpenBody] = Field(description="What the newest closing card gave a reason for.")
    signed: SignatureBody | None


class SignBody(Body):
    """A card that is signed: each point true, done, or with a reason."""

    day: Day = Field(description="The local date.")
    done: list[Annotated[str, Field(max_length=40)]] = Field(
        default_factory=list, max_length=40, description="Points that a person has found true."
    )
    reasons: dict[str, Annotated[str, Field(max_length=1000)]] = Field(
        default_factory=dict, description="Why a point is left open, by its code."
    )
    reason: Reason = None

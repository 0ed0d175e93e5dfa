"""Bodies of the cellar: what is known of a lot, what a dose would do, and where wine went."""

from pydantic import Field

from api.parameters import Moment
from api.schemas.bench import CodeText, Reason, ReasonBody
from api.schemas.common import Body, LedgerNumber, UtcTime
from bench.movements import Kind


class LatestBody(Body):
    """The newest result of a quantity that may be used."""

    quantity: str
    result: int
    value: float
    rounded: str | None
    unit: str
    basis: str | None
    end_point: str | None
    uncertainty: float | None
    at: UtcTime
    age_h: float = Field(description="Since it was measured. [h]")
    sample: str | None
    standing: str | None
    reasons: list[ReasonBody]
    released: bool
    change: float | None = Field(description="Since the result before it. [unit of the quantity]")
    passed_over: list[int] = Field(description="Newer results that are not to be used.")


class BandBody(Body):
    """The band wanted for molecular SO2, and where the lot stands to it."""

    low_mg_l: float | None
    high_mg_l: float | None
    found_mg_l: float | None
    verdict: str = Field(description="below, inside, above or unknown.")


class LotLatestBody(Body):
    """One line of a lot: the latest of everything with its age."""

    lot: str
    at: UtcTime
    items: list[LatestBody]
    band: BandBody | None
    head: LedgerNumber


class VerdictBody(Body):
    """A value against a limit with its guard band."""

    verdict: str = Field(description="inside, outside, or cannot tell: use the reference method.")
    value_mg_l: float
    low_mg_l: float
    high_mg_l: float
    limit_mg_l: float
    statement: str


class LimitBody(Body):
    """One limit of one place for one class of wine."""

    jurisdiction: str
    wine_class: str
    kind: str
    limit_mg_l: float | None
    sugar_test: str
    source: str
    status: str = Field(description="How the figure was come by: seen, memory or unverified.")
    verdict: VerdictBody | None = Field(description="On the latest result of that kind.")


class LotLimitsBody(Body):
    """The limits of a lot as far as they can be told."""

    lot: str
    apply: list[LimitBody]
    may_apply: list[LimitBody]
    asks: list[str] = Field(description="What to enter so that it can be told.")
    caution: str


class CrossingBody(Body):
    """When a level is reached."""

    level: float
    at: UtcTime | None
    earliest: UtcTime | None
    latest: UtcTime | None
    why: str = Field(description="Why there is no date; empty if there is one.")


class LotForecastBody(Body):
    """A trend of a lot, and when it leaves its band."""

    lot: str
    quantity: str
    since: UtcTime | None = Field(description="Points before the last addition had settled are left out.")
    points: list[int] = Field(description="Ids of the results on the line.")
    loss_per_day: float | None
    loss_low: float | None
    loss_high: float | None
    probability: float
    crossings: list[CrossingBody]
    why: str = Field(description="Why there is no trend; empty if there is one.")


class InputBody(Body):
    """A number that an answer stands on."""

    quantity: str
    result: int
    value: float
    age_h: float
    standing: str | None


class BindingBody(Body):
    """The share of an addition that binds, and where it is known from."""

    share: float
    spread: float | None
    additions: int
    source: str


class DoseBody(Body):
    """What a dose would do once it has settled."""

    lot: str
    dose_mg_l: float
    inputs: list[InputBody]
    binding: BindingBody
    free_mg_l: float
    free_low_mg_l: float
    free_high_mg_l: float
    total_mg_l: float
    legal: VerdictBody | None
    limit: LimitBody | None
    asks: list[str] = Field(description="What to enter so that limit and molecular SO2 can be told.")
    constants: str | None
    molecular_now_mg_l: float | None
    molecular_mg_l: float | None
    molecular_low_mg_l: float | None
    molecular_high_mg_l: float | None
    flags: list[ReasonBody]
    caution: str


class PartOfMovementBody(Body):
    """Wine that goes into a movement."""

    volume_l: float = Field(description="More than 0. [L]")
    lot: CodeText | None = None
    vessel: CodeText | None = None


class NewMovementBody(Body):
    """A movement that is to be entered."""

    kind: Kind
    at: Moment | None = Field(None, description="When; now if left out.")
    to_lot: CodeText
    to_vessel: CodeText | None = None
    parts: list[PartOfMovementBody] = Field(max_length=500)
    note: str = Field("", max_length=1000)
    reason: Reason = None


class MovementBody(Body):
    """Wine went somewhere."""

    number: LedgerNumber
    kind: str
    at: UtcTime
    to_lot: str | None
    to_vessel: str | None
    volume_l: float
    parts: list[PartOfMovementBody]
    note: str
    actor: str


class MovementPage(Body):
    """Movements in the order in which they were entered."""

    items: list[MovementBody]
    next: int | None = Field(description="Give it as `after` for the next page; null on the last one.")


class LotVolumeBody(Body):
    """How much wine a lot holds: as it was entered, and as it is expected after the movements since. [L]"""

    lot: str
    entered_l: float | None
    entered_at: UtcTime | None
    entered_by: str | None
    in_l: float = Field(description="Brought by movements since it was entered.")
    out_l: float = Field(description="Taken by movements since it was entered.")
    expected_l: float | None = Field(description="Null while nothing was ever entered.")
    movements: list[LedgerNumber]
    words: str = Field(description="Where the expected volume comes from, and how old the entry is.")


class VesselShareBody(Body):
    """What a vessel should hold of one lot. [L]"""

    lot: str | None
    volume_l: float


class VesselContentsBody(Body):
    """What a vessel should hold, as far as its movements were entered. [L]"""

    vessel: str
    capacity_l: float
    expected_l: float
    lots: list[VesselShareBody]
    movements: list[LedgerNumber]
    remark: str = Field(description="What cannot be; empty if it can.")


class AncestorBody(Body):
    """A movement on the way to a lot."""

    depth: int = Field(description="1 for what went into the lot itself, 2 for what went into that.")
    movement: MovementBody


class LineageBody(Body):
    """Where the wine of a lot came from, and where it went."""

    lot: str
    came_from: list[AncestorBody]
    went_into: list[MovementBody]


class BlendValueBody(Body):
    """A quantity of a blend: what it should be and what it is."""

    quantity: str
    unit: str
    expected: float | None
    expected_uncertainty: float | None
    from_results: list[int]
    wanting: list[int] = Field(description="Places of the parts of which the quantity is not known.")
    measured: float | None
    measured_result: int | None
    measured_at: UtcTime | None
    difference: float | None
    remark: str


class BlendBody(Body):
    """What a movement made of its parts."""

    movement: MovementBody
    values: list[BlendValueBody]

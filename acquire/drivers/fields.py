"""The fields of a record in a driver file: what each part of a message is."""

from typing import Annotated, Literal

from pydantic import Field as Setting

from acquire.drivers.strict import StrictModel
from acquire.events import Outcome


class _Field(StrictModel):
    label: str | None = None
    """What stands before it, or over its column in a header row."""
    at: tuple[int, int] | None = None
    """Its first and last character in a row of fixed columns, counted from 1."""
    required: bool = True
    """A labelled field, or a column of a header row, that may be missing says false."""


class ValueField(_Field):
    """A measured number."""

    kind: Literal["value"]
    quantity: str | None = None
    """Code of `evaluate.units`, when it is always the same."""
    quantity_by_mode: dict[str, str] = Setting(default_factory=dict)
    """Code by the text of the mode field, when the mode decides."""
    unit: str | None = None
    """Code of `evaluate.units`, when the instrument never says it, or always says the same."""
    units: tuple[str, ...] = ()
    """Codes that may come, when the instrument says the unit: in a unit field, or behind the number."""
    stable: tuple[str, ...] = ()
    """Marks behind the number, after a blank, that say it is at rest."""
    drifting: tuple[str, ...] = ()
    """Marks behind the number, after a blank, that say it is not."""

    @property
    def quantities(self) -> tuple[str, ...]:
        """Every quantity that it may be."""
        return (self.quantity,) if self.quantity else tuple(self.quantity_by_mode.values())

    @property
    def unit_codes(self) -> tuple[str, ...]:
        """Every unit that it may come in, the one of a silent instrument first."""
        return (self.unit,) if self.unit else self.units


class UnitField(_Field):
    """The unit of the value field before it."""

    kind: Literal["unit"]


class QualifierField(_Field):
    """A mark of `[range_marks]`, a token, or nothing, before the value field that follows."""

    kind: Literal["qualifier"]


class SampleField(_Field):
    """The id of the sample, kept verbatim; an empty one is none."""

    kind: Literal["sample"]


class SequenceField(_Field):
    """The instrument's own number for the message, kept verbatim."""

    kind: Literal["sequence"]
    digits: int | None = Setting(default=None, ge=1, le=18)
    """How many digits it always has; without it, any text but an empty one will do."""


class TimeField(_Field):
    """The instrument's own time, or its date, or its time of day; an empty one is none."""

    kind: Literal["time"]
    form: str | None = None
    """Such as ``YYYY-MM-DD hh:mm:ss``; the one of the table ``[time]`` if it is left out."""


class ModeField(_Field):
    """What the instrument says it was doing."""

    kind: Literal["mode"]
    texts: tuple[str, ...] = ()
    """All that may come; if left out, those of `quantity_by_mode`, or anything if there is none."""


class StableField(_Field):
    """Whether the values of the message are at rest."""

    kind: Literal["stable"]
    stable: tuple[str, ...] = Setting(min_length=1)
    drifting: tuple[str, ...] = Setting(min_length=1)


class StatusField(_Field):
    """A status or error code, and what it makes of the numbers of its message."""

    kind: Literal["status"]
    codes: dict[str, Outcome] = Setting(min_length=1)
    """All that may come; under ``value`` the numbers stand, under any other outcome they are withheld."""
    words: dict[str, str] = Setting(default_factory=dict)
    """What a code means, for people."""


class IdentityField(_Field):
    """What the instrument says it is."""

    kind: Literal["identity"]
    texts: tuple[str, ...] = ()
    """All that this driver is for; anything if left out."""


class ConstantField(_Field):
    """A text that is always the same; as first field, it tells one record from another."""

    kind: Literal["constant"]
    text: str


class IgnoredField(_Field):
    """A part that is not read."""

    kind: Literal["ignore"]


Field = Annotated[
    ValueField
    | UnitField
    | QualifierField
    | SampleField
    | SequenceField
    | TimeField
    | ModeField
    | StableField
    | StatusField
    | IdentityField
    | ConstantField
    | IgnoredField,
    Setting(discriminator="kind"),
]
KINDS = frozenset(
    {
        "value",
        "unit",
        "qualifier",
        "sample",
        "sequence",
        "time",
        "mode",
        "stable",
        "status",
        "identity",
        "constant",
        "ignore",
    }
)

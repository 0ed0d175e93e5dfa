"""Bodies of instruments."""

from pydantic import Field

from api.schemas.common import Body, UtcTime
from api.schemas.readings import ReadingBody


class InstrumentBody(Body):
    """An instrument that is configured or was ever heard."""

    instrument: str = Field(examples=["burette-1"])
    lines: list[str] = Field(description="The lines that listen or listened to it.")
    drivers: list[str] = Field(description="The drivers that read or would read it.")
    quantities: list[str] = Field(description="Codes of the quantities that it ever gave.")
    last_opened_at: UtcTime | None = Field(description="When a line to it was last opened.")
    last_reading: ReadingBody | None = Field(description="Its newest reading.")


class InstrumentsBody(Body):
    """Every instrument, by name."""

    items: list[InstrumentBody]

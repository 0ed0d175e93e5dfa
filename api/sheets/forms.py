"""How a sheet is written: the part of an address that does not choose rows."""

from dataclasses import replace
from enum import StrEnum
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from storage.csv_text import DIALECTS, Dialect, changes_of

NOT_ROWS: Final = {"download"}
"""What does not change a byte of the sheet."""


class DialectName(StrEnum):
    """How cells are written: for programs, with a decimal point, with a decimal comma."""

    STANDARD = "standard"
    SHEET = "sheet"
    SHEET_EU = "sheet-eu"


def _known_zone(name: str) -> str:
    changes_of(name)
    return name


_ZONE_PATTERN: Final = r"^[A-Za-z][A-Za-z0-9_+\-]*(/[A-Za-z0-9_+\-]+)*$"
ZoneName = Annotated[
    str,
    Field(
        max_length=60, pattern=r"^[A-Za-z][A-Za-z0-9_+\-]*(/[A-Za-z0-9_+\-]+)*$", examples=["Europe/Berlin"]
    ),
    AfterValidator(_known_zone),
]


class Form(BaseModel):
    """What every sheet takes."""

    model_config = ConfigDict(frozen=True)

    tz: ZoneName | None = Field(
        None, description="Times in this zone, the offset of the first in the column behind it; UTC without."
    )
    download: bool = Field(default=False, description="Ask the browser to save it as a file.")


class CsvForm(Form):
    """What a sheet of text takes beside."""

    dialect: DialectName = Field(DialectName.STANDARD, description="How cells are written.")
    guard: bool = Field(
        default=True, description="Put an apostrophe before text that a spreadsheet would run."
    )
    bom: bool = Field(default=False, description="Begin with a byte order mark.")

    def written(self) -> Dialect:
        """Return how cells are written."""
        return replace(DIALECTS[self.dialect], guarded=self.guard)


class XlsxForm(Form):
    """What a workbook takes: it has no dialect, since its cells have types."""

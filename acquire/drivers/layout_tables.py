"""The layouts that a driver file may declare: what stands where in the text of a frame."""

from typing import Literal

from pydantic import Field as Setting

from acquire.drivers.fields import Field
from acquire.drivers.strict import StrictModel

Meaning = Literal["readings", "curve_point", "calibration_report"]
Run = Literal["starts", "ends", "aborts"]


class _Message(StrictModel):
    """What one kind of message is about."""

    means: Meaning = "readings"
    """What its values are: readings of a sample, a point of a running curve, or the instrument's own
    calibration."""
    run: Run | None = None
    """The message says that a run starts, ends, or was aborted."""


class Record(_Message):
    """One kind of message: its columns from left to right."""

    columns: tuple[Field, ...] = Setting(min_length=1)


class _Rows(StrictModel):
    """What layouts made of rows share."""

    rows: str = ""
    """Stands at the end of each row, with escapes, when a frame holds several; empty if it holds one."""
    records: tuple[Record, ...] = Setting(min_length=1)


class Delimited(_Rows):
    """Columns with a separator between them."""

    separator: str
    """With escapes."""
    runs: bool = False
    """Several separators in a row count as one, as in a table padded with blanks."""
    trailing: bool = False
    """Every row ends with one separator more."""
    quoted: bool = False
    """A column may stand in double quotes and then hold the separator; a quote inside is doubled."""
    header: bool = False
    """A row with the labels comes first and says the order; columns without a field are ignored."""
    preamble: int = Setting(default=0, ge=0, le=1000)
    """As many rows may come before the first header row and carry nothing."""
    units_row: bool = False
    """The row below the header row says the unit of each column."""
    footer: tuple[str, ...] = ()
    """How a row begins that ends the table; it and what follows carry nothing until a header row comes."""


class Fixed(_Rows):
    """Columns at places that never change; whatever no column covers must be blank."""

    width: int = Setting(ge=1, le=4096)
    """Of every row. [characters]"""
    trimmed: bool = False
    """Blanks at the end of a row may be missing."""


class Labelled(_Message):
    """Labels with a value behind each, in any order."""

    between: str = " "
    """Stands between one pair and the next, with escapes."""
    label_end: str = " "
    """Stands between a label and its value, such as ``:``; a blank is any number of them, empty is glued."""
    several: bool = False
    """Where something else than a blank stands between pairs: a piece may hold several pairs."""
    leader: str = ""
    """Characters that fill the room between a label and its value, such as ``.``."""
    fields: tuple[Field, ...] = Setting(min_length=1)

    @property
    def columns(self) -> tuple[Field, ...]:
        """The fields, by the name that a record has for them."""
        return self.fields

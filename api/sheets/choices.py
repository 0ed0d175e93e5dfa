"""Which rows a sheet shows: the filters of each, as the address says them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints
from sqlalchemy import Connection

from api.parameters import LARGEST, Moment, Name, ReadingChoice
from api.problems import bad_parameter
from api.sheets.forms import CsvForm, XlsxForm
from storage import queries
from storage.csv_text import Reader, ResultSheetFilter, Sheet, readings_sheet, results_revision, results_sheet
from storage.sheets.additions import AdditionSheetFilter, additions_revision, additions_sheet
from storage.sheets.amendments import AmendmentSheetFilter, amendments_sheet
from storage.sheets.control import (
    CALIBRATIONS,
    CHECKS,
    ControlSheetFilter,
    control_revision,
    control_sheet,
)
from storage.sheets.lots import lots_sheet
from storage.sheets.wide import wide_sheet

StandingName = Literal["good", "provisional", "look_again", "do_not_use"]
VerdictName = Literal["pass", "warn", "review", "fail", "not_evaluated"]
StateName = Literal["planned", "weighed", "done", "cancelled"]
CodeList = Annotated[str, StringConstraints(max_length=1000, pattern=r"^[A-Za-z0-9_]+(,[A-Za-z0-9_]+)*$")]
MINUTE_US: Final = 60_000_000  # [µs]
SINCE: Final = Field(0, ge=0, le=LARGEST, description="Only what an entry after this ledger number touched.")


@dataclass(frozen=True, slots=True)
class Asking:
    """What a choice is made into a sheet with."""

    reader: Reader
    store_kind: str
    head: int
    """The newest ledger number; nothing beyond it is shown."""
    now_us: int
    """[µs]"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A sheet that somebody wants."""

    name: str
    """Of its file, without an ending."""
    since: int
    revision: Callable[[Connection], int]
    """The ledger number of what last changed what it shows."""
    sheet: Callable[[Asking], Sheet]
    mark: str = ""
    """What else its bytes depend on, beside the address."""


class TimeChoice(BaseModel):
    """When what is wanted was measured."""

    model_config = ConfigDict(frozen=True)

    begin: Moment | None = Field(None, alias="from", description="Measured at this time or later.")
    end: Moment | None = Field(None, alias="to", description="Measured before this time.")

    def ordered(self) -> tuple[int | None, int | None]:
        """Return both ends; refuse a range that runs backwards."""
        return _ordered(self.begin, self.end)


def _ordered(begin: int | None, end: int | None) -> tuple[int | None, int | None]:
    if begin is not None and end is not None and begin >= end:
        raise bad_parameter("to", "it is not later than from; give an end after the beginning")
    return begin, end


class ReadingsChoice(ReadingChoice):
    """Which readings are wanted."""

    def wanted(self) -> Wanted:
        """Return the sheet of readings."""
        rows = self.filter()
        return Wanted(
            "readings",
            self.since,
            queries.readings_revision,
            lambda by: readings_sheet(
                by.reader, rows, store_kind=by.store_kind, after=self.since, up_to=by.head
            ),
        )


class ResultChoice(TimeChoice):
    """Which results are wanted; what is left out asks for all that are released."""

    all: bool = Field(default=False, description="Also what is not released, with its standing.")
    sample: Name | None = Field(None, description="Only of this sample, by its code.")
    lot: Name | None = Field(None, description="Only of this lot, by its code.")
    method: Name | None = Field(None, description="Only by this method, by its code.")
    instrument: Name | None = Field(None, description="Only of this instrument.")
    standing: StandingName | None = Field(None, description="Only with this standing.")
    since: int = SINCE

    def rows(self, head: int, quantity: str | None = None) -> ResultSheetFilter:
        """Return the filter for the store."""
        begin, end = self.ordered()
        return ResultSheetFilter(
            released_only=not self.all,
            sample=self.sample,
            lot=self.lot,
            quantity=quantity,
            method=self.method,
            instrument=self.instrument,
            standing=self.standing,
            from_us=begin,
            to_us=end,
            since=self.since,
            up_to=head,
        )


class ResultsChoice(ResultChoice):
    """Which results are wanted, one row each."""

    quantity: Name | None = Field(None, description="Only of this quantity, by its code.")

    def wanted(self) -> Wanted:
        """Return the sheet of results."""
        self.ordered()
        return Wanted(
            "results",
            self.since,
            results_revision,
            lambda by: results_sheet(by.reader, self.rows(by.head, self.quantity), store_kind=by.store_kind),
        )


class WideChoice(ResultChoice):
    """Which results are wanted, one row a sample."""

    quantities: CodeList | None = Field(
        None,
        description="Codes of quantities with commas between, in the order of their columns; all without.",
        examples=["ph,free_so2"],
    )

    def wanted(self) -> Wanted:
        """Return the wide sheet."""
        self.ordered()
        codes = None if self.quantities is None else list(dict.fromkeys(self.quantities.split(",")))
        return Wanted(
            "wide",
            self.since,
            results_revision,
            lambda by: wide_sheet(by.reader, self.rows(by.head), codes, store_kind=by.store_kind),
        )


class LotsChoice(ResultChoice):
    """Which results are wanted, the newest of each lot and quantity."""

    quantity: Name | None = Field(None, description="Only of this quantity, by its code.")
    at: Moment | None = Field(
        None, description="Ages count up to this time, and what was measured later is left out; now without."
    )

    def wanted(self, now_us: int) -> Wanted:
        """Return the sheet of lots; without a time it is that of the minute that has begun. [µs]"""
        self.ordered()
        at_us = now_us // MINUTE_US * MINUTE_US if self.at is None else self.at
        return Wanted(
            "lots",
            self.since,
            results_revision,
            lambda by: lots_sheet(
                by.reader, self.rows(by.head, self.quantity), at_us, store_kind=by.store_kind
            ),
            mark=str(at_us),
        )


class ControlChoice(TimeChoice):
    """Which judged records are wanted; what is left out asks for all."""

    instrument: Name | None = Field(None, description="Only of this instrument.")
    quantity: Name | None = Field(None, description="Only of this quantity, by its code.")
    method: Name | None = Field(None, description="Only of this method, by its code.")
    subject: Name | None = Field(
        None, description="Only of this titrant, buffer, standard or control material, by its code."
    )
    verdict: VerdictName | None = Field(None, description="Only with this verdict.")
    since: int = SINCE

    def wanted(self, name: Literal["calibrations", "checks"]) -> Wanted:
        """Return the sheet of calibrations and their like, or of checks."""
        begin, end = self.ordered()
        kinds = CHECKS if name == "checks" else CALIBRATIONS
        return Wanted(
            name,
            self.since,
            control_revision,
            lambda by: control_sheet(
                by.reader,
                ControlSheetFilter(
                    kinds,
                    self.instrument,
                    self.quantity,
                    self.method,
                    self.subject,
                    self.verdict,
                    begin,
                    end,
                    self.since,
                    by.head,
                ),
                store_kind=by.store_kind,
            ),
        )


class AmendmentsChoice(TimeChoice):
    """Which amended values are wanted; what is left out asks for all."""

    sample: Name | None = Field(None, description="Only of this sample, by its code.")
    quantity: Name | None = Field(None, description="Only of this quantity, by its code.")
    instrument: Name | None = Field(None, description="Only of this instrument.")
    since: int = SINCE

    def wanted(self) -> Wanted:
        """Return the sheet of amended values."""
        begin, end = self.ordered()
        return Wanted(
            "amendments",
            self.since,
            results_revision,
            lambda by: amendments_sheet(
                by.reader,
                AmendmentSheetFilter(
                    self.sample, self.quantity, self.instrument, begin, end, self.since, by.head
                ),
                store_kind=by.store_kind,
            ),
        )


class AdditionsChoice(BaseModel):
    """Which additions are wanted; what is left out asks for all."""

    model_config = ConfigDict(frozen=True)

    lot: Name | None = Field(None, description="Only to this lot, by its code.")
    state: StateName | None = Field(None, description="Only those that have come so far.")
    begin: Moment | None = Field(None, alias="from", description="Planned at this time or later.")
    end: Moment | None = Field(None, alias="to", description="Planned before this time.")
    since: int = SINCE

    def wanted(self) -> Wanted:
        """Return the sheet of additions."""
        begin, end = _ordered(self.begin, self.end)
        return Wanted(
            "additions",
            self.since,
            additions_revision,
            lambda by: additions_sheet(
                by.reader,
                AdditionSheetFilter(self.lot, self.state, begin, end, self.since, by.head),
                store_kind=by.store_kind,
            ),
        )


class ReadingsCsv(ReadingsChoice, CsvForm):
    """The sheet of readings as text."""


class ReadingsXlsx(ReadingsChoice, XlsxForm):
    """The sheet of readings as a workbook."""


class ResultsCsv(ResultsChoice, CsvForm):
    """The sheet of results as text."""


class ResultsXlsx(ResultsChoice, XlsxForm):
    """The sheet of results as a workbook."""


class WideCsv(WideChoice, CsvForm):
    """The wide sheet as text."""


class WideXlsx(WideChoice, XlsxForm):
    """The wide sheet as a workbook."""


class LotsCsv(LotsChoice, CsvForm):
    """The sheet of lots as text."""


class LotsXlsx(LotsChoice, XlsxForm):
    """The sheet of lots as a workbook."""


class ControlCsv(ControlChoice, CsvForm):
    """A sheet of judged records as text."""


class ControlXlsx(ControlChoice, XlsxForm):
    """A sheet of judged records as a workbook."""


class AmendmentsCsv(AmendmentsChoice, CsvForm):
    """The sheet of amended values as text."""


class AmendmentsXlsx(AmendmentsChoice, XlsxForm):
    """The sheet of amended values as a workbook."""


class AdditionsCsv(AdditionsChoice, CsvForm):
    """The sheet of additions as text."""


class AdditionsXlsx(AdditionsChoice, XlsxForm):
    """The sheet of additions as a workbook."""

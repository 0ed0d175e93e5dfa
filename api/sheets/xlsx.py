"""Workbooks: cells with types, so that no locale and no formula comes between. Written row by row.

The library that writes them is loaded with the first that is asked for: it takes 16 MiB.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from storage.csv_text import Changes, Kind, Sheet

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

MEDIA_TYPE: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_DAY_US: Final = 86_400_000_000  # [µs]
_DAYS_TO_1970: Final = 25_569  # from the day 0 of spreadsheets, 1899-12-30 [d]
_EXACT: Final = 2**53  # whole numbers above it are no longer told apart as doubles
_LONGEST: Final = 32_767  # characters that a cell holds
_CUT: Final = " … (cut)"
_WIDTH: Final = 18  # [characters]
_MADE: Final = datetime(2000, 1, 1)  # noqa: DTZ001 - the same each time, so that the same rows give the same bytes


def write_workbook(sheet: Sheet, name: str, zone: Changes | None, folder: str | None = None) -> Path:
    """Write a sheet into a new temporary file and return its path; whoever takes it removes it."""
    with tempfile.NamedTemporaryFile(prefix="tundish-", suffix=".xlsx", dir=folder, delete=False) as file:
        path = Path(file.name)
    try:
        _write(path, sheet, name, zone)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return path


def _write(path: Path, sheet: Sheet, name: str, zone: Changes | None) -> None:
    import xlsxwriter

    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": name, "created": _MADE})
        page = book.add_worksheet(name)
        page.freeze_panes(1, 0)
        names = sheet.names(local=zone is not None)
        page.set_column(0, max(len(names) - 1, 0), _WIDTH)
        bold = book.add_format({"bold": True})
        for place, heading in enumerate(names):
            page.write_string(0, place, heading, bold)
        cells = _Cells(book, page, sheet, zone)
        row = 1
        for rows in sheet.windows():
            row = cells.write(row, rows)


class _Cells:
    """Writes rows of typed values."""

    def __init__(self, book: Workbook, page: Worksheet, sheet: Sheet, zone: Changes | None) -> None:
        self._book = book
        self._page = page
        self._zone = zone
        self._first = None if zone is None else sheet.first_moment
        after = len(sheet.headings) if self._first is None else self._first
        self._moment_form = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss.000"})
        self._decimals: dict[int, Format] = {}
        writers: dict[Kind, Callable[[int, int, Any], None]] = {
            Kind.INTEGER: self._integer,
            Kind.NUMERAL: self._numeral,
            Kind.MOMENT: self._moment,
            Kind.TEXT: self._text,
        }
        self._columns = [
            (place, place + (place > after), writers[heading.kind])
            for place, heading in enumerate(sheet.headings)
        ]

    def write(self, row: int, rows: Iterable[Sequence[Any]]) -> int:
        """Write rows from one on and return the one behind them."""
        for values in rows:
            for place, column, write in self._columns:
                if (value := values[place]) is not None:
                    write(row, column, value)
                    if place == self._first and self._zone is not None:
                        self._page.write_number(row, column + 1, self._zone.minutes_at(value))
            row += 1
        return row

    def _integer(self, row: int, place: int, value: int) -> None:
        if abs(value) < _EXACT:
            self._page.write_number(row, place, int(value))
        else:
            self._text(row, place, value)

    def _numeral(self, row: int, place: int, value: str) -> None:
        self._page.write_number(row, place, float(value), self._digits(value))

    def _moment(self, row: int, place: int, value: int) -> None:
        minutes = 0 if self._zone is None else self._zone.minutes_at(value)
        days = (value + minutes * 60_000_000) / _DAY_US + _DAYS_TO_1970
        self._page.write_number(row, place, days, self._moment_form)

    def _text(self, row: int, place: int, value: object) -> None:
        text = str(value)
        shown = text if len(text) <= _LONGEST else text[: _LONGEST - len(_CUT)] + _CUT
        self._page.write_string(row, place, shown)

    def _digits(self, numeral: str) -> Format:
        """Return the format that shows as many decimals as the numeral has."""
        decimals = min(len(numeral.partition(".")[2]), 15)
        if decimals not in self._decimals:
            form = "0." + "0" * decimals if decimals else "0"
            self._decimals[decimals] = self._book.add_format({"num_format": form})
        return self._decimals[decimals]

"""The one writer of CSV text.

Numbers come from the numerals that instruments sent, never from a double turned into text. Text that a
spreadsheet might run as a formula is made harmless; numbers are not touched. Where there is no number, the
cell is empty. A file and a server give the same bytes.
"""

from storage.csv_text.dialects import DIALECTS, Column, Dialect, Kind, Piece, Reader
from storage.csv_text.plain import plain_text
from storage.csv_text.readings import readings_columns, readings_csv, readings_sheet
from storage.csv_text.results import (
    ResultSheetFilter,
    results_columns,
    results_csv,
    results_revision,
    results_sheet,
)
from storage.csv_text.sheet import Heading, Row, Sheet
from storage.csv_text.writers import window, write_rows
from storage.csv_text.zones import Changes, UnknownZoneError, changes_of

__all__ = [
    "DIALECTS",
    "Changes",
    "Column",
    "Dialect",
    "Heading",
    "Kind",
    "Piece",
    "Reader",
    "ResultSheetFilter",
    "Row",
    "Sheet",
    "UnknownZoneError",
    "changes_of",
    "plain_text",
    "readings_columns",
    "readings_csv",
    "readings_sheet",
    "results_columns",
    "results_csv",
    "results_revision",
    "results_sheet",
    "window",
    "write_rows",
]

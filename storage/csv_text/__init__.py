"""The one writer of CSV text.

Numbers come from the numerals that instruments sent, never from a double turned into text. Text that a
spreadsheet might run as a formula is made harmless; numbers are not touched. Where there is no number, the
cell is empty. A file and a server give the same bytes.
"""

from storage.csv_text.dialects import DIALECTS, Column, Dialect, Kind, Piece, Reader
from storage.csv_text.readings import header, readings_columns, readings_csv
from storage.csv_text.results import ResultSheetFilter, results_columns, results_csv, results_revision
from storage.csv_text.writers import window, write_rows

__all__ = [
    "DIALECTS",
    "Column",
    "Dialect",
    "Kind",
    "Piece",
    "Reader",
    "ResultSheetFilter",
    "header",
    "readings_columns",
    "readings_csv",
    "results_columns",
    "results_csv",
    "results_revision",
    "window",
    "write_rows",
]

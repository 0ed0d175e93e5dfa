"""What an instrument says beside readings: the points of a titration curve, and reports."""

from typing import Final

from sqlalchemy import Column, ForeignKeyConstraint, Index, Table

from storage.columns import real
from storage.schema.makers import count, metadata, moment, numeral, refers, words

curve_point: Final = Table(
    "curve_point",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    refers("capture_number", "capture.number"),
    count("frame_number"),
    count("frame_ordinal"),
    words("instrument"),
    moment("at_us"),
    numeral("volume_numeral"),
    Column("volume_ml", real(), nullable=True),
    numeral("signal_numeral"),
    Column("signal", real(), nullable=True),
    words("signal_quantity"),
    words("signal_unit"),
    Column("temperature_c", real(), nullable=True),
    Column("elapsed_s", real(), nullable=True),
    words("mode", nullable=True),
    words("sample", nullable=True),
    words("sequence", nullable=True),
    words("instrument_time", nullable=True),
    words("signal_text", nullable=True),
    words("signal_outcome", nullable=True),
    ForeignKeyConstraint(["frame_number", "frame_ordinal"], ["frame.number", "frame.ordinal"]),
    Index(None, "instrument", "number"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""One signal at one point of a running titration as the instrument gave it; two signals are two rows.

All rows of a point came with one entry, so that its number names the point. `signal_text` is what was sent,
`signal_outcome` what kind of answer it is, in the words of a reading.
"""

report: Final = Table(
    "report",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    refers("capture_number", "capture.number"),
    count("frame_number"),
    count("frame_ordinal"),
    words("instrument"),
    moment("at_us"),
    words("kind"),
    words("body"),
    ForeignKeyConstraint(["frame_number", "frame_ordinal"], ["frame.number", "frame.ordinal"]),
    Index(None, "instrument", "number"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""What an instrument said of itself or of a run; `body` is canonical JSON, its form is named by `kind`."""

APPEND_ONLY: Final[tuple[Table, ...]] = (curve_point, report)

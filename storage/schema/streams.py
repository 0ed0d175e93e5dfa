"""The tables that grow while instruments talk, from the bytes of a capture to the reading that was taken."""

from typing import Final

from sqlalchemy import CheckConstraint, Column, ForeignKeyConstraint, Index, Table, UniqueConstraint
from sqlalchemy import text as sql

from storage.columns import binary, real
from storage.schema.makers import brought_by, count, metadata, moment, numeral, one_of, refers, words

driver: Final = Table(
    "driver",
    metadata,
    brought_by(),
    words("name"),
    words("version"),
    words("definition_sha256"),
    words("definition"),
    UniqueConstraint("name", "version", "definition_sha256"),
    sqlite_strict=True,
)

capture: Final = Table(
    "capture",
    metadata,
    brought_by(),
    words("line"),
    words("instrument"),
    refers("driver_number", "driver.number"),
    words("device"),
    words("settings"),
    moment("opened_at_us"),
    refers("session_number", "session.number"),
    Index(None, "line", "number"),
    Index(None, "instrument", "line", "driver_number", "number"),
    sqlite_strict=True,
)

capture_end: Final = Table(
    "capture_end",
    metadata,
    brought_by(),
    refers("capture_number", "capture.number"),
    moment("ended_at_us"),
    words("ending"),
    words("why"),
    count("heard_bytes"),
    count("sent_bytes"),
    one_of("ending", "stopped", "lost", "complete", "found_open"),
    UniqueConstraint("capture_number"),
    sqlite_strict=True,
)

chunk: Final = Table(
    "chunk",
    metadata,
    brought_by(),
    refers("capture_number", "capture.number"),
    moment("at_us"),
    words("direction"),
    count("offset"),
    Column("data", binary(), nullable=False),
    one_of("direction", "heard", "sent"),
    Index(None, "capture_number", "number"),
    sqlite_strict=True,
)

frame: Final = Table(
    "frame",
    metadata,
    brought_by(),
    count("ordinal", key=True),
    refers("capture_number", "capture.number"),
    count("pour_number", nullable=True),
    count("offset"),
    count("length"),
    words("outcome"),
    words("reason", nullable=True),
    words("detail", nullable=True),
    one_of("outcome", "read", "refused", "filler"),
    Index(None, "capture_number", "offset"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""Where a frame lies among the heard bytes; `pour_number` is empty for what was read live."""

fault: Final = Table(
    "fault",
    metadata,
    brought_by(),
    refers("capture_number", "capture.number", nullable=True),
    words("line", nullable=True),
    words("source"),
    words("text"),
    sqlite_strict=True,
)

gap: Final = Table(
    "gap",
    metadata,
    brought_by(),
    words("line"),
    words("instrument"),
    moment("begin_us"),
    moment("end_us"),
    words("why"),
    count("lost_bytes", nullable=True),
    sqlite_strict=True,
)

reading: Final = Table(
    "reading",
    metadata,
    brought_by(),
    count("reading_id"),
    count("version"),
    refers("capture_number", "capture.number"),
    count("frame_number"),
    count("frame_ordinal"),
    count("position"),
    words("instrument"),
    refers("driver_number", "driver.number"),
    moment("at_us"),
    words("quantity"),
    words("outcome"),
    words("value_text"),
    numeral("value_numeral"),
    Column("value", real(), nullable=True),
    words("unit"),
    words("sample", nullable=True),
    words("sequence", nullable=True),
    words("instrument_time", nullable=True),
    words("mode", nullable=True),
    count("stable", nullable=True),
    count("pour_number", nullable=True),
    ForeignKeyConstraint(["frame_number", "frame_ordinal"], ["frame.number", "frame.ordinal"]),
    CheckConstraint("(version = 1) = (reading_id = number) AND version >= 1", name="first_version_names_it"),
    CheckConstraint(
        "value IS NULL OR outcome IN ('value', 'above_range', 'below_range')",
        name="number_only_where_measured",
    ),
    CheckConstraint("(value IS NULL) = (value_numeral IS NULL)", name="numeral_beside_value"),
    Index(None, "instrument", "number"),
    Index(None, "instrument", "quantity", "number"),
    Index(None, "quantity", "at_us"),
    sqlite_strict=True,
)
"""Versions of readings: `number` is the revision, `reading_id` the number of the first version; `pour_number`
is empty for what was read live."""

# First versions are unique by their primary key, so that this index costs nothing while instruments talk.
Index(
    "uq_reading_reading_id_version",
    reading.c.reading_id,
    reading.c.version,
    unique=True,
    sqlite_where=sql("version > 1"),
    postgresql_where=sql("version > 1"),
)

# What pours made of a frame; of readings that were heard live it costs nothing.
Index(
    "ix_reading_poured",
    reading.c.frame_number,
    reading.c.frame_ordinal,
    sqlite_where=sql("pour_number IS NOT NULL"),
    postgresql_where=sql("pour_number IS NOT NULL"),
)

# A message sent again is found by the number that its instrument gave it.
Index(
    "ix_reading_instrument_sequence",
    reading.c.instrument,
    reading.c.sequence,
    sqlite_where=sql("sequence IS NOT NULL"),
    postgresql_where=sql("sequence IS NOT NULL"),
)

# Where an instrument numbers nothing, its message is found by the time that it told.
Index(
    "ix_reading_instrument_time",
    reading.c.instrument,
    reading.c.instrument_time,
    sqlite_where=sql("sequence IS NULL AND instrument_time IS NOT NULL"),
    postgresql_where=sql("sequence IS NULL AND instrument_time IS NOT NULL"),
)

taken: Final = Table(
    "taken",
    metadata,
    brought_by(),
    refers("reading_number", "reading.number", key=True),
    words("normal_text", nullable=True),
    Column("normal_value", real(), nullable=True),
    words("normal_unit", nullable=True),
    words("note", nullable=True),
    count("repeat_of", nullable=True),
    UniqueConstraint("reading_number"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""That a reading version was taken in, with its value in the unit of the registry."""
taken.c.normal_text.info["numeral"] = True

APPEND_ONLY: Final[tuple[Table, ...]] = (
    driver,
    capture,
    capture_end,
    chunk,
    frame,
    fault,
    gap,
    reading,
    taken,
)

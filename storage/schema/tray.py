"""Whose number it is: what waits at an instrument, what stands on it, and the ties of readings to samples."""

from typing import Final

from sqlalchemy import Column, Index, Table

from storage.columns import real
from storage.schema.makers import brought_by, count, metadata, moment, one_of, refers, words

tray_item: Final = Table(
    "tray_item",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("item_id"),
    count("version"),
    words("instrument"),
    Column("place", real(), nullable=False),
    words("kind"),
    count("sample_id", nullable=True),
    count("standard_id", nullable=True),
    words("tests"),
    words("state"),
    one_of("kind", "sample", "blank", "standard", "check", "duplicate", "buffer"),
    one_of("state", "waiting", "measured", "removed"),
    Index("uq_tray_item_item_id_version", "item_id", "version", unique=True),
    Index(None, "instrument", "item_id"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""One version of a place on a tray. `place` orders it; `tests` is a JSON list of method codes;
`sample_id` and `standard_id` name records."""

on_instrument: Final = Table(
    "on_instrument",
    metadata,
    brought_by(),
    words("instrument"),
    moment("at_us"),
    count("item_id", nullable=True),
    count("sample_id", nullable=True),
    words("set_by"),
    one_of("set_by", "scan", "tap", "api", "sequence"),
    Index(None, "instrument", "number"),
    sqlite_strict=True,
)
"""What stands on an instrument from a moment on; nothing if both ids are empty."""

tie: Final = Table(
    "tie",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("reading_id"),
    count("sample_id", nullable=True),
    count("item_id", nullable=True),
    words("how"),
    words("conflict", nullable=True),
    one_of("how", "frame", "tray", "hand", "swap", "untie"),
    Index(None, "reading_id", "number"),
    Index(None, "sample_id"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""The act that binds a reading to a sample; the newest of a reading holds; without a sample it is untied.
`conflict` is the code of what does not fit, such as a mode against the test asked."""

APPEND_ONLY: Final[tuple[Table, ...]] = (tray_item, on_instrument, tie)

"""Stored captures that were poured through another driver."""

from typing import Final

from sqlalchemy import Index, Table

from storage.schema.makers import brought_by, count, metadata, refers, words

pour: Final = Table(
    "pour",
    metadata,
    brought_by(),
    refers("driver_number", "driver.number"),
    words("scope"),
    words("software_version"),
    sqlite_strict=True,
)
"""A pour began to change something; `scope` is canonical JSON of which captures were asked for."""

pour_capture: Final = Table(
    "pour_capture",
    metadata,
    brought_by(),
    refers("pour_number", "pour.number"),
    refers("capture_number", "capture.number"),
    count("reshaped"),
    count("end_offset"),
    count("changed"),
    count("added"),
    count("withdrawn"),
    Index(None, "capture_number", "number"),
    Index(None, "pour_number", "number"),
    sqlite_strict=True,
)
"""A capture was poured to its end. If `reshaped`, its frames up to `end_offset` are those of the pour."""

APPEND_ONLY: Final[tuple[Table, ...]] = (pour, pour_capture)

"""Which captures here hold what a far bench heard."""

from typing import Final

from sqlalchemy import Index, Table

from storage.schema.makers import brought_by, count, metadata, words

far_part: Final = Table(
    "far_part",
    metadata,
    brought_by(),
    words("site"),
    words("store_id"),
    words("line"),
    count("capture"),
    count("begin_heard"),
    count("begin_sent"),
    Index(None, "store_id", "capture", "number"),
    sqlite_strict=True,
)
"""It came with the entry of a capture here, which holds what lies behind `begin_heard` and `begin_sent` of
the capture with the number `capture` there. The parts of one overlap where a frame was cut."""

APPEND_ONLY: Final[tuple[Table, ...]] = (far_part,)
"""The tables of this module, in the order of the digest."""

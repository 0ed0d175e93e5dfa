"""The tables: what is kept, in which order, under which names.

Every row of every append-only table names the ledger entry that brought it (``number``). Columns are only
ever appended at the end of a table, and only nullable ones: the digest of an old row must stay what it was.
Times are whole microseconds since 1970 UTC (``*_us``). [µs]

A module of tables ends with its own ``APPEND_ONLY`` (and ``MUTABLE``, if it needs one). A new module is
added at the end of the tuples below, because the order of the tables is the order of a digest.
"""

from typing import Final

from sqlalchemy import Table

from storage.schema import housekeeping, streams
from storage.schema.housekeeping import heartbeat, ledger, position, session, session_end, store_info
from storage.schema.makers import metadata
from storage.schema.streams import capture, capture_end, chunk, driver, fault, frame, gap, reading, taken

__all__ = [
    "APPEND_ONLY",
    "MUTABLE_TABLES",
    "capture",
    "capture_end",
    "chunk",
    "driver",
    "fault",
    "frame",
    "gap",
    "heartbeat",
    "ledger",
    "metadata",
    "position",
    "reading",
    "session",
    "session_end",
    "store_info",
    "taken",
]

APPEND_ONLY: Final[tuple[Table, ...]] = (
    *housekeeping.APPEND_ONLY,
    *streams.APPEND_ONLY,
)
"""The tables whose rows an entry's digest covers, in the order of the digest. New ones go at the end."""

MUTABLE_TABLES: Final[dict[str, str]] = {
    **housekeeping.MUTABLE,
}
"""The tables that may be updated, and why. Every other table is append-only."""

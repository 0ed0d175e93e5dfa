"""The tables about the store itself: its ledger, what it is, the daemon's runs, the few rows that move."""

from typing import Final

from sqlalchemy import CheckConstraint, Column, Table, UniqueConstraint

from storage.columns import binary
from storage.schema.makers import brought_by, count, metadata, moment, one_of, refers, words

ledger: Final = Table(
    "ledger",
    metadata,
    count("number", key=True),
    moment("at_us"),
    words("actor"),
    words("actor_kind"),
    words("action"),
    words("reason", nullable=True),
    Column("digest", binary(), nullable=False),
    Column("link", binary(), nullable=False),
    one_of("actor_kind", "person", "device", "daemon"),
    sqlite_strict=True,
)
"""Who did what, when and why, in commit order: the number is cursor, revision and live event id."""

store_info: Final = Table(
    "store_info",
    metadata,
    brought_by(),
    words("store_id"),
    words("kind"),
    moment("created_at_us"),
    words("note"),
    one_of("kind", "real", "demo", "practice"),
    CheckConstraint("number = 1", name="one_row"),
    sqlite_strict=True,
)

session: Final = Table(
    "session",
    metadata,
    brought_by(),
    words("software_version"),
    words("python_version"),
    words("engine_version"),
    words("host_clock"),
    moment("started_at_us"),
    sqlite_strict=True,
)
"""One run of the daemon."""

session_end: Final = Table(
    "session_end",
    metadata,
    brought_by(),
    refers("session_number", "session.number"),
    moment("ended_at_us"),
    words("how"),
    one_of("how", "clean", "found_dead"),
    UniqueConstraint("session_number"),
    sqlite_strict=True,
)

heartbeat: Final = Table(
    "heartbeat",
    metadata,
    count("id", key=True),
    moment("last_at_us"),
    CheckConstraint("id = 1", name="one_row"),
    sqlite_strict=True,
)

position: Final = Table(
    "position",
    metadata,
    words("name", key=True),
    count("number"),
    sqlite_strict=True,
)

APPEND_ONLY: Final[tuple[Table, ...]] = (store_info, session, session_end)

MUTABLE: Final[dict[str, str]] = {
    "heartbeat": "before it, all that arrived was kept; a row a second would drown the ledger",
    "position": "how far a later step has come; it says nothing that the ledger does not say",
}

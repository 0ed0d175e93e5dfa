"""The tables: what is kept, in which order, under which names.

Every row of every append-only table names the ledger entry that brought it (``number``). Columns are only
ever appended at the end of a table, and only nullable ones: the digest of an old row must stay what it was.
Times are whole microseconds since 1970 UTC (``*_us``). [µs]
"""

from typing import Final

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    MetaData,
    Table,
    UniqueConstraint,
)
from sqlalchemy import text as sql

from storage.columns import UtcMicroseconds, big_integer, binary, real, text

metadata: Final = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


def _words(name: str, *, nullable: bool = False, key: bool = False) -> Column[str]:
    return Column(name, text(), nullable=nullable, primary_key=key)


def _numeral(name: str) -> Column[str]:
    """Return a column of plain decimal numerals, checked by the writer: sheets print them as they are."""
    return Column(name, text(), nullable=True, info={"numeral": True})


def _count(name: str, *, nullable: bool = False, key: bool = False) -> Column[int]:
    return Column(name, big_integer(), nullable=nullable, primary_key=key, autoincrement=False)


def _moment(name: str) -> Column[int]:
    return Column(name, UtcMicroseconds(), nullable=False)


def _brought_by() -> Column[int]:
    return Column("number", big_integer(), ForeignKey("ledger.number"), primary_key=True, autoincrement=False)


def _refers(name: str, target: str, *, nullable: bool = False, key: bool = False) -> Column[int]:
    return Column(
        name, big_integer(), ForeignKey(target), nullable=nullable, primary_key=key, autoincrement=False
    )


def _one_of(column: str, *known: str) -> CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in known)
    return CheckConstraint(f"{column} IN ({listed})", name=f"known_{column}")


ledger: Final = Table(
    "ledger",
    metadata,
    _count("number", key=True),
    _moment("at_us"),
    _words("actor"),
    _words("actor_kind"),
    _words("action"),
    _words("reason", nullable=True),
    Column("digest", binary(), nullable=False),
    Column("link", binary(), nullable=False),
    _one_of("actor_kind", "person", "device", "daemon"),
    sqlite_strict=True,
)
"""Who did what, when and why, in commit order: the number is cursor, revision and live event id."""

store_info: Final = Table(
    "store_info",
    metadata,
    _brought_by(),
    _words("store_id"),
    _words("kind"),
    _moment("created_at_us"),
    _words("note"),
    _one_of("kind", "real", "demo", "practice"),
    CheckConstraint("number = 1", name="one_row"),
    sqlite_strict=True,
)

session: Final = Table(
    "session",
    metadata,
    _brought_by(),
    _words("software_version"),
    _words("python_version"),
    _words("engine_version"),
    _words("host_clock"),
    _moment("started_at_us"),
    sqlite_strict=True,
)
"""One run of the daemon."""

session_end: Final = Table(
    "session_end",
    metadata,
    _brought_by(),
    _refers("session_number", "session.number"),
    _moment("ended_at_us"),
    _words("how"),
    _one_of("how", "clean", "found_dead"),
    UniqueConstraint("session_number"),
    sqlite_strict=True,
)

driver: Final = Table(
    "driver",
    metadata,
    _brought_by(),
    _words("name"),
    _words("version"),
    _words("definition_sha256"),
    _words("definition"),
    UniqueConstraint("name", "version", "definition_sha256"),
    sqlite_strict=True,
)

capture: Final = Table(
    "capture",
    metadata,
    _brought_by(),
    _words("line"),
    _words("instrument"),
    _refers("driver_number", "driver.number"),
    _words("device"),
    _words("settings"),
    _moment("opened_at_us"),
    _refers("session_number", "session.number"),
    Index(None, "line", "number"),
    sqlite_strict=True,
)

capture_end: Final = Table(
    "capture_end",
    metadata,
    _brought_by(),
    _refers("capture_number", "capture.number"),
    _moment("ended_at_us"),
    _words("ending"),
    _words("why"),
    _count("heard_bytes"),
    _count("sent_bytes"),
    _one_of("ending", "stopped", "lost", "complete", "found_open"),
    UniqueConstraint("capture_number"),
    sqlite_strict=True,
)

chunk: Final = Table(
    "chunk",
    metadata,
    _brought_by(),
    _refers("capture_number", "capture.number"),
    _moment("at_us"),
    _words("direction"),
    _count("offset"),
    Column("data", binary(), nullable=False),
    _one_of("direction", "heard", "sent"),
    Index(None, "capture_number", "number"),
    sqlite_strict=True,
)

frame: Final = Table(
    "frame",
    metadata,
    _brought_by(),
    _count("ordinal", key=True),
    _refers("capture_number", "capture.number"),
    _count("pour_number", nullable=True),
    _count("offset"),
    _count("length"),
    _words("outcome"),
    _words("reason", nullable=True),
    _words("detail", nullable=True),
    _one_of("outcome", "read", "refused", "filler"),
    Index(None, "capture_number", "offset"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""Where a frame lies among the heard bytes; `pour_number` is empty for what was read live."""

fault: Final = Table(
    "fault",
    metadata,
    _brought_by(),
    _refers("capture_number", "capture.number", nullable=True),
    _words("line", nullable=True),
    _words("source"),
    _words("text"),
    sqlite_strict=True,
)

gap: Final = Table(
    "gap",
    metadata,
    _brought_by(),
    _words("line"),
    _words("instrument"),
    _moment("begin_us"),
    _moment("end_us"),
    _words("why"),
    _count("lost_bytes", nullable=True),
    sqlite_strict=True,
)

reading: Final = Table(
    "reading",
    metadata,
    _brought_by(),
    _count("reading_id"),
    _count("version"),
    _refers("capture_number", "capture.number"),
    _count("frame_number"),
    _count("frame_ordinal"),
    _count("position"),
    _words("instrument"),
    _refers("driver_number", "driver.number"),
    _moment("at_us"),
    _words("quantity"),
    _words("outcome"),
    _words("value_text"),
    _numeral("value_numeral"),
    Column("value", real(), nullable=True),
    _words("unit"),
    _words("sample", nullable=True),
    _words("sequence", nullable=True),
    _words("instrument_time", nullable=True),
    _words("mode", nullable=True),
    _count("stable", nullable=True),
    ForeignKeyConstraint(["frame_number", "frame_ordinal"], ["frame.number", "frame.ordinal"]),
    CheckConstraint("(version = 1) = (reading_id = number) AND version >= 1", name="first_version_names_it"),
    CheckConstraint(
        "value IS NULL OR outcome IN ('value', 'above_range', 'below_range')",
        name="number_only_where_measured",
    ),
    CheckConstraint("(value IS NULL) = (value_numeral IS NULL)", name="numeral_beside_value"),
    Index(None, "instrument", "number"),
    Index(None, "quantity", "at_us"),
    sqlite_strict=True,
)
"""Versions of readings: `number` is the revision, `reading_id` the number of the first version."""

# First versions are unique by their primary key, so that this index costs nothing while instruments talk.
Index(
    "uq_reading_reading_id_version",
    reading.c.reading_id,
    reading.c.version,
    unique=True,
    sqlite_where=sql("version > 1"),
    postgresql_where=sql("version > 1"),
)

taken: Final = Table(
    "taken",
    metadata,
    _brought_by(),
    _refers("reading_number", "reading.number", key=True),
    _words("normal_text", nullable=True),
    Column("normal_value", real(), nullable=True),
    _words("normal_unit", nullable=True),
    _words("note", nullable=True),
    UniqueConstraint("reading_number"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""That a reading version was taken in, with its value in the unit of the registry."""
taken.c.normal_text.info["numeral"] = True

heartbeat: Final = Table(
    "heartbeat",
    metadata,
    _count("id", key=True),
    _moment("last_at_us"),
    CheckConstraint("id = 1", name="one_row"),
    sqlite_strict=True,
)

position: Final = Table(
    "position",
    metadata,
    _words("name", key=True),
    _count("number"),
    sqlite_strict=True,
)

MUTABLE_TABLES: Final[dict[str, str]] = {
    "heartbeat": "the last moment at which the daemon was seen alive; a row a second would drown the ledger",
    "position": "how far a later step has come; it says nothing that the ledger does not say",
}
"""The tables that may be updated, and why. Every other table is append-only."""

APPEND_ONLY: Final[tuple[Table, ...]] = (
    store_info,
    session,
    session_end,
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
"""The tables whose rows an entry's digest covers, in the order of the digest. New ones go at the end."""

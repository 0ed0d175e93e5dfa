"""Titrations while they run."""

from typing import Final

from sqlalchemy import Index, Table, UniqueConstraint

from storage.schema.makers import brought_by, count, metadata, moment, one_of, refers, words

run: Final = Table(
    "run",
    metadata,
    brought_by(),
    words("instrument"),
    moment("started_at_us"),
    count("first_point_number"),
    count("first_point_ordinal"),
    count("item_id", nullable=True),
    count("sample_id", nullable=True),
    count("method_id", nullable=True),
    count("method_version", nullable=True),
    Index(None, "instrument", "number"),
    sqlite_strict=True,
)
"""A run began with this point of a curve; its number is its id."""

run_end: Final = Table(
    "run_end",
    metadata,
    brought_by(),
    refers("run_id", "run.number"),
    moment("ended_at_us"),
    words("how"),
    count("last_point_number"),
    count("last_point_ordinal"),
    words("detail", nullable=True),
    one_of("how", "ended", "aborted", "lost", "timed_out"),
    UniqueConstraint("run_id"),
    sqlite_strict=True,
)
"""A run ended, with the last point that belongs to it."""

run_warning: Final = Table(
    "run_warning",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    refers("run_id", "run.number"),
    moment("at_us"),
    words("code"),
    words("evidence"),
    Index(None, "run_id"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""What a check of the running curve found; `evidence` is canonical JSON."""

run_note: Final = Table(
    "run_note",
    metadata,
    brought_by(),
    refers("run_id", "run.number"),
    words("kind"),
    words("text"),
    one_of("kind", "note", "rejected", "taken_back"),
    Index(None, "run_id"),
    sqlite_strict=True,
)
"""What a person said of a run; a rejection keeps its result from use."""

APPEND_ONLY: Final[tuple[Table, ...]] = (run, run_end, run_warning, run_note)

"""The tables about the running of the daemon: acts on its lines, copies of the store, the host's clock."""

from typing import Final

from sqlalchemy import CheckConstraint, Column, Table

from storage.columns import binary
from storage.schema.makers import brought_by, count, metadata, moment, one_of, refers, words

line_act: Final = Table(
    "line_act",
    metadata,
    brought_by(),
    count("ordinal", key=True),
    words("line"),
    words("act"),
    words("settings"),
    one_of("act", "added", "changed", "started", "stopped", "removed"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""What was done to a line while the daemon ran; `settings` is its table of the configuration as JSON."""

backup: Final = Table(
    "backup",
    metadata,
    brought_by(),
    words("file"),
    moment("made_at_us"),
    count("head_number"),
    Column("head_link", binary(), nullable=False),
    count("size_bytes"),
    CheckConstraint("head_number >= 1 AND head_number < number", name="head_before_it"),
    sqlite_strict=True,
)
"""A checked copy of the store that stands in a file elsewhere, and the entry at which the copy ends."""

clock_event: Final = Table(
    "clock_event",
    metadata,
    brought_by(),
    refers("session_number", "session.number"),
    words("event"),
    words("quality"),
    words("why"),
    count("max_error_us", nullable=True),
    count("step_us", nullable=True),
    one_of("event", "judged", "stepped"),
    one_of("quality", "in_step", "not_in_step", "unknown"),
    CheckConstraint("(step_us IS NULL) = (event = 'judged')", name="only_a_step_has_a_size"),
    sqlite_strict=True,
)
"""How far the host's clock can be trusted from then on, and by how much it was put forward or back."""

APPEND_ONLY: Final[tuple[Table, ...]] = (line_act, backup, clock_event)

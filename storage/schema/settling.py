"""Values of streaming instruments that came to rest, or that somebody took as they were."""

from typing import Final

from sqlalchemy import Column, Index, Table

from storage.columns import real
from storage.schema.makers import brought_by, count, metadata, moment, one_of, refers, words

settled: Final = Table(
    "settled",
    metadata,
    brought_by(),
    refers("reading_id", "reading.number"),
    refers("first_reading_id", "reading.number"),
    count("readings"),
    words("instrument"),
    words("quantity"),
    moment("at_us"),
    words("how"),
    words("verdict"),
    words("rule", nullable=True),
    Column("span", real(), nullable=True),
    Column("drift_per_s", real(), nullable=True),
    Column("waited_s", real(), nullable=True),
    one_of("how", "rule", "person"),
    one_of("verdict", "stable", "waiting", "timed_out", "no_rule"),
    Index(None, "instrument", "quantity", "number"),
    Index(None, "reading_id"),
    sqlite_strict=True,
)
"""A reading was made the one of record: the last of the stretch from `first_reading_id` on, in which the
value kept within `span` and drifted by `drift_per_s`. `rule` is canonical JSON; `verdict` says whether it was
met."""

APPEND_ONLY: Final[tuple[Table, ...]] = (settled,)

"""The slow records: lots, vessels, samples, methods, reagents, people and their like, in versions.

They are few, they change rarely, and all need the same: a name, versions with the moment from which they
hold, and links to each other. So they share two tables; `bench.records` says what each kind holds.
"""

from typing import Final

from sqlalchemy import CheckConstraint, Index, Table

from storage.schema.makers import count, metadata, moment, refers, words

record: Final = Table(
    "record",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("record_id"),
    count("version"),
    words("kind"),
    words("code"),
    moment("valid_from_us"),
    count("retired"),
    words("body"),
    CheckConstraint("version >= 1", name="counted_from_one"),
    CheckConstraint("retired IN (0, 1)", name="known_retired"),
    Index("uq_record_record_id_version", "record_id", "version", unique=True),
    Index("uq_record_kind_code_version", "kind", "code", "version", unique=True),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""One version of a record. `code` is the name people use, unique among its kind; `body` is canonical JSON."""

record_link: Final = Table(
    "record_link",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("record_id"),
    count("version"),
    words("role"),
    count("target_id"),
    Index(None, "target_id", "role"),
    Index(None, "record_id", "version"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""What a version of a record names: the lot of a sample, the parts of a composite, a method's titrant."""

APPEND_ONLY: Final[tuple[Table, ...]] = (record, record_link)

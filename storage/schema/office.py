"""Who may act, what was asked before, and what people are told."""

from typing import Final

from sqlalchemy import Column, Index, Table, UniqueConstraint

from storage.columns import binary
from storage.schema.makers import brought_by, count, metadata, moment, one_of, refers, words

pin: Final = Table(
    "pin",
    metadata,
    brought_by(),
    count("person_id"),
    Column("salt", binary(), nullable=False),
    Column("hash", binary(), nullable=False),
    words("cost"),
    Index(None, "person_id", "number"),
    sqlite_strict=True,
)
"""A person's pin under a slow hash; the newest holds; `cost` names the hash and its parameters."""

pin_failure: Final = Table(
    "pin_failure",
    metadata,
    count("person_id", key=True),
    count("failures"),
    moment("locked_until_us", nullable=True),
    sqlite_strict=True,
)

access_key: Final = Table(
    "access_key",
    metadata,
    brought_by(),
    words("name"),
    words("scope"),
    Column("sha256", binary(), nullable=False),
    one_of("scope", "read", "bench", "manage"),
    UniqueConstraint("sha256"),
    sqlite_strict=True,
)
"""A key for programs, kept as its hash; its number is its id."""

access_key_end: Final = Table(
    "access_key_end",
    metadata,
    brought_by(),
    refers("key_id", "access_key.number"),
    UniqueConstraint("key_id"),
    sqlite_strict=True,
)
"""A key was revoked."""

request_answer: Final = Table(
    "request_answer",
    metadata,
    brought_by(),
    words("request_key"),
    words("route"),
    Column("request_sha256", binary(), nullable=False),
    count("status"),
    words("answer"),
    UniqueConstraint("request_key"),
    sqlite_strict=True,
)
"""What a write was answered, so that the same request sent twice acts once."""

alert: Final = Table(
    "alert",
    metadata,
    brought_by(),
    words("code"),
    words("subject"),
    count("rank"),
    moment("at_us"),
    words("evidence"),
    Index(None, "code", "subject"),
    sqlite_strict=True,
)
"""Something people should know; `evidence` is canonical JSON; its number is its id."""

alert_end: Final = Table(
    "alert_end",
    metadata,
    brought_by(),
    refers("alert_id", "alert.number"),
    words("how"),
    one_of("how", "acknowledged", "passed"),
    UniqueConstraint("alert_id"),
    sqlite_strict=True,
)
"""A person has seen it, or it is no longer so."""

card: Final = Table(
    "card",
    metadata,
    brought_by(),
    words("kind"),
    words("day"),
    words("items"),
    one_of("kind", "opening", "closing"),
    Index(None, "kind", "day"),
    sqlite_strict=True,
)
"""An opening or closing card as it was signed; `items` is canonical JSON; `day` is a local date."""

APPEND_ONLY: Final[tuple[Table, ...]] = (
    pin,
    access_key,
    access_key_end,
    request_answer,
    alert,
    alert_end,
    card,
)

MUTABLE: Final[dict[str, str]] = {
    "pin_failure": "how often a wrong pin was given in a row; it is set back by the right one",
}

"""What a broker refused, until it takes it."""

from typing import Final

from sqlalchemy import CheckConstraint, Table

from storage.schema.makers import count, metadata, moment, one_of, words

refused_publish: Final = Table(
    "refused_publish",
    metadata,
    count("sequence", key=True),
    count("number"),
    words("kind"),
    count("subject"),
    words("topic"),
    words("why"),
    moment("refused_at_us"),
    count("attempts"),
    one_of("kind", "reading", "result"),
    CheckConstraint("attempts >= 1", name="was_tried"),
    sqlite_strict=True,
)
"""A message that was set aside: its place among the messages, and the entry and the row that it tells of."""

APPEND_ONLY: Final[tuple[Table, ...]] = ()

MUTABLE: Final[dict[str, str]] = {
    "refused_publish": "what waits for a broker's leave; a row goes once the broker took the message",
}

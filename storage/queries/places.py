"""How far later steps have come, by the names of their places."""

from typing import Final

from sqlalchemy import Connection, bindparam, select

from storage.schema import position

_BEGUN: Final = (
    select(position.c.name, position.c.number)
    .where(
        position.c.name >= bindparam("first"), position.c.name < bindparam("behind"), position.c.number > 0
    )
    .order_by(position.c.name)
)


def begun_places(connection: Connection, beginning: str) -> list[tuple[str, int]]:
    """Return name and number of the places whose names begin so, and that are not at 0."""
    behind = beginning[:-1] + chr(ord(beginning[-1]) + 1)
    rows = connection.execute(_BEGUN, {"first": beginning, "behind": behind})
    return [(row.name, row.number) for row in rows]

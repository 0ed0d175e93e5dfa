"""The mark of a store that is being copied to its place and is not all there yet."""

from typing import Final

from sqlalchemy import Connection, select

from storage.errors import UnfinishedStoreError
from storage.schema import position

MARK: Final = "move"
"""Name of a place in the table `position`; its number is where the ledger will end."""


def is_unfinished(connection: Connection) -> bool:
    """Tell whether a store bears the mark."""
    return connection.execute(select(position.c.number).where(position.c.name == MARK)).scalar() is not None


def refuse_unfinished(connection: Connection, where: str) -> None:
    """Raise `UnfinishedStoreError` if a store bears the mark."""
    if is_unfinished(connection):
        raise UnfinishedStoreError(where)

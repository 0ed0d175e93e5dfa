"""Bring the tables of a store up to date by hand, as their owner, and give rights in them."""

from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from storage import schema_version
from storage.errors import MigrationError, StoreUnreachableError
from storage.place import Place, place_of
from storage.postgresql.guards import grant
from storage.store import bring_up_to_date
from storage.trouble import in_words


def migrate(address: str | Path | Place, *, writer: str | None = None, readers: Sequence[str] = ()) -> str:
    """Take every step that is wanting, give the rights that are asked for, and return the schema.

    Parameters
    ----------
    address : str, Path or Place
        The store; no daemon may hold it.
    writer : str, optional
        Role of the daemon on a server: it may add rows, and change nothing.
    readers : sequence of str
        Roles that may look.

    Raises
    ------
    MigrationError
        If a right cannot be given.
    StorageError
        If the store cannot be opened, or is held by a daemon.
    """
    place = place_of(address)
    claim = place.claim()
    engine = place.writing_engine()
    try:
        bring_up_to_date(engine, place)
        if writer is not None:
            _give_rights(engine, place, writer, readers)
    except DatabaseError as error:
        raise StoreUnreachableError(str(place), in_words(error), place.advice) from error
    finally:
        engine.dispose()
        claim.release()
    return schema_version.newest()


def _give_rights(engine: Engine, place: Place, writer: str, readers: Sequence[str]) -> None:
    if engine.dialect.name != "postgresql":
        raise MigrationError(f"{place} is a file, in which there are no roles; rights are those of the file")
    try:
        with engine.begin() as connection:
            owner = connection.exec_driver_sql("SELECT current_user").scalar_one()
            if owner in (writer, *readers):
                raise MigrationError(
                    f"{owner} owns the tables and keeps its rights; name other roles for writing and looking"
                )
            grant(connection, writer=writer, readers=readers)
    except DatabaseError as error:
        raise MigrationError(f"rights in {place} could not be given: {in_words(error)}") from error

"""Where a store lies: in a file of this computer, or on a PostgreSQL server."""

from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection, Engine, make_url
from sqlalchemy.exc import ArgumentError

from storage.errors import StoreAddressError
from storage.transaction import Statements


class Claim(Protocol):
    """That this process alone writes a store."""

    def release(self) -> None:
        """Let another daemon have the store."""


class Reserve(Protocol):
    """Space that is given up when the disk is full."""

    def load(self) -> bool:
        """Take the space if there is room; tell whether it is there now."""

    def drop(self) -> None:
        """Give the space back."""


class Place(Protocol):
    """All that differs between the kinds of places. `str` of it is for people, without a password."""

    advice: str
    """What was wanted, and what to do, when the store cannot be written."""

    def is_there(self) -> bool:
        """Tell whether there is something at this place, a file or a database."""

    def claim(self) -> Claim:
        """Take the store for this process. Raises `StoreBusyError`, `StoreUnreachableError`."""

    def writing_engine(self) -> Engine:
        """Return an engine for the one writer."""

    def reading_engine(self) -> Engine:
        """Return an engine with a few connections that can do nothing but read."""

    def statements(self) -> Statements:
        """Return what the writer says to the database."""

    def before_step(self, engine: Engine, newest: str, *, is_new: bool) -> None:
        """Make sure that a store can be brought to a newer schema, and that there is a way back."""

    def engine_version(self, connection: Connection) -> str:
        """Return name and version of the database engine."""

    def warn(self) -> None:
        """Log what is known to be bad about the engine."""

    def reserve(self) -> Reserve:
        """Return the space kept for a full disk."""

    def free_bytes(self) -> int | None:
        """Return the free space beside the store; None if only its server knows. [bytes]"""


def place_of(address: str | Path | Place) -> Place:
    """Return the place that an address names: a file, ``sqlite:///FILE`` or ``postgresql://…``.

    Raises
    ------
    StoreAddressError
        If it names another kind of store, or the driver for it is missing.
    """
    from storage.file_place import FilePlace
    from storage.postgresql.place import ServerPlace

    if isinstance(address, Path):
        return FilePlace(address)
    if not isinstance(address, str):
        return address
    scheme, divider, rest = address.partition("://")
    if not divider:
        return FilePlace(Path(address))
    if scheme == "sqlite" and rest.startswith("/"):
        return FilePlace(Path(rest[1:]))
    if scheme in ("postgresql", "postgresql+psycopg", "postgres"):
        try:
            return ServerPlace(make_url(f"postgresql+psycopg://{rest}"))
        except (ArgumentError, ValueError) as error:
            raise StoreAddressError(
                f"this {scheme}:// address cannot be read; wanted postgresql://USER@HOST:PORT/DATABASE, "
                "with special characters of a password written as %XX"
            ) from error
    raise StoreAddressError(
        f"{scheme}:// names no store; wanted a file name, sqlite:///FILE or postgresql://USER@HOST/DATABASE"
    )

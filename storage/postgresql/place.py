"""A store in a database of a PostgreSQL server."""

from sqlalchemy import URL, Connection, Engine

from storage.errors import SERVER_ADVICE, MigrationError
from storage.postgresql.connect import driver, reading_engine, shown, writing_engine
from storage.postgresql.statements import CopyTexts
from storage.schema_version import found

_MAY_CHANGE_SQL = "SELECT has_schema_privilege(current_schema(), 'CREATE')"


class HeldBySession:
    """The claim on a store is part of the session that writes it, and ends with that."""

    def release(self) -> None:
        """Leave it to the end of the session."""


class ServersOwn:
    """The space of a server is the business of whoever runs it."""

    def load(self) -> bool:
        """Tell that nothing is kept in reserve."""
        return False

    def drop(self) -> None:
        """Give nothing up."""


class ServerPlace:
    """The database that a URL names."""

    advice = SERVER_ADVICE

    def __init__(self, url: URL) -> None:
        driver()  # a missing one is told before anything begins
        self.url = url

    def __str__(self) -> str:
        return shown(self.url)

    def is_there(self) -> bool:
        """Leave it to the server to say that there is no such database."""
        return True

    def claim(self) -> HeldBySession:
        """Leave it to the writing session, which takes the store as it connects."""
        return HeldBySession()

    def writing_engine(self) -> Engine:
        """Return an engine for the one writer, whose session holds the claim."""
        return writing_engine(self.url)

    def reading_engine(self) -> Engine:
        """Return an engine with a few connections that can do nothing but read."""
        return reading_engine(self.url)

    def statements(self) -> CopyTexts:
        """Return what the writer says to the database."""
        return CopyTexts()

    def before_step(self, engine: Engine, newest: str, *, is_new: bool) -> None:
        """Refuse a step that this role may not take; the server itself undoes one that fails."""
        with engine.begin() as connection:
            if not connection.exec_driver_sql(_MAY_CHANGE_SQL).scalar_one():
                state = "has no tables yet" if is_new else f"has schema {found(connection)}"
                role = connection.exec_driver_sql("SELECT current_user").scalar_one()
                raise MigrationError(
                    f"the store {self} {state}, this program writes schema {newest}, and the role {role} "
                    "may not make tables. Run as their owner: tundish migrate URL"
                )

    def engine_version(self, connection: Connection) -> str:
        """Return name and version of the server."""
        return f"PostgreSQL {connection.exec_driver_sql('SHOW server_version').scalar_one()}"

    def warn(self) -> None:
        """Say nothing."""

    def reserve(self) -> ServersOwn:
        """Keep nothing."""
        return ServersOwn()

    def free_bytes(self) -> int | None:
        """Return None: only the server knows."""
        return None

"""Which schema a store has, and the way to the newest one."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from storage.errors import MigrationError, NewerStoreError, NotAStoreError, Where

MIGRATIONS = Path(__file__).parent / "migrations"


def _config(steps: Path, connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(steps).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def newest(steps: Path = MIGRATIONS) -> str:
    """Return the schema that this program writes."""
    head = ScriptDirectory.from_config(_config(steps)).get_current_head()
    if head is None:
        raise MigrationError("this installation has no migrations; install it again")
    return head


def found(connection: Connection) -> str | None:
    """Return the schema of a store; None of an empty one. Never writes."""
    return MigrationContext.configure(connection).get_current_revision()


def check(connection: Connection, path: Where, steps: Path = MIGRATIONS) -> str | None:
    """Return the schema of a store that this program can bring up to date; None of an empty one.

    Raises
    ------
    NewerStoreError
        If a newer program wrote it.
    NotAStoreError
        If the tables in it are somebody else's.
    """
    version = found(connection)
    if version is None and inspect(connection).get_table_names():
        raise NotAStoreError(path, "it holds tables of another program")
    known = {script.revision for script in ScriptDirectory.from_config(_config(steps)).walk_revisions()}
    if version is not None and version not in known:
        raise NewerStoreError(path, version, newest(steps))
    return version


def upgrade(connection: Connection, steps: Path = MIGRATIONS) -> None:
    """Take every step that is wanting; a step that fails leaves nothing of itself behind."""
    command.upgrade(_config(steps, connection), "head")

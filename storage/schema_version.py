"""Which schema a store has, and the way to the newest one."""

import re
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, column, inspect, select, table

from storage.errors import MigrationError, NewerStoreError, NotAStoreError, Where

MIGRATIONS = Path(__file__).parent / "migrations"

_STEP: Final = re.compile(r"m(\d{4})_\w+\.py")
"""A step's file bears its number: to tell where a store stands, no step and no migration tool is loaded."""
_KEPT_IN: Final = table("alembic_version", column("version_num"))


def _known(steps: Path) -> list[str]:
    names = (_STEP.fullmatch(file.name) for file in (steps / "versions").iterdir())
    return sorted(name[1] for name in names if name)


def newest(steps: Path = MIGRATIONS) -> str:
    """Return the schema that this program writes."""
    known = _known(steps)
    if not known:
        raise MigrationError("this installation has no migrations; install it again")
    return known[-1]


def found(connection: Connection) -> str | None:
    """Return the schema of a store; None of an empty one. Never writes."""
    if not inspect(connection).has_table(_KEPT_IN.name):
        return None
    return connection.execute(select(_KEPT_IN.c.version_num)).scalar()


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
    if version is not None and version not in _known(steps):
        raise NewerStoreError(path, version, newest(steps))
    return version


def upgrade(connection: Connection, steps: Path = MIGRATIONS) -> None:
    """Take every step that is wanting; a step that fails leaves nothing of itself behind."""
    from alembic import command  # slow to load, and seldom needed
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(steps).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")

"""The columns that tables are made of, and the naming of constraints."""

from typing import Final

from sqlalchemy import CheckConstraint, Column, ForeignKey, MetaData

from storage.columns import UtcMicroseconds, big_integer, text

metadata: Final = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


def words(name: str, *, nullable: bool = False, key: bool = False) -> Column[str]:
    """Return a column of text."""
    return Column(name, text(), nullable=nullable, primary_key=key)


def numeral(name: str) -> Column[str]:
    """Return a column of plain decimal numerals, checked by the writer: sheets print them as they are."""
    return Column(name, text(), nullable=True, info={"numeral": True})


def count(name: str, *, nullable: bool = False, key: bool = False) -> Column[int]:
    """Return a column of whole numbers."""
    return Column(name, big_integer(), nullable=nullable, primary_key=key, autoincrement=False)


def moment(name: str, *, nullable: bool = False) -> Column[int]:
    """Return a column of times in microseconds since 1970 UTC. [µs]"""
    return Column(name, UtcMicroseconds(), nullable=nullable)


def brought_by() -> Column[int]:
    """Return the key of every row: the ledger entry that brought it."""
    return Column("number", big_integer(), ForeignKey("ledger.number"), primary_key=True, autoincrement=False)


def refers(name: str, target: str, *, nullable: bool = False, key: bool = False) -> Column[int]:
    """Return a column that holds the key of another table's row."""
    return Column(
        name, big_integer(), ForeignKey(target), nullable=nullable, primary_key=key, autoincrement=False
    )


def one_of(column: str, *known: str) -> CheckConstraint:
    """Return the check that a column holds one of the known words."""
    listed = ", ".join(f"'{word}'" for word in known)
    return CheckConstraint(f"{column} IN ({listed})", name=f"known_{column}")
